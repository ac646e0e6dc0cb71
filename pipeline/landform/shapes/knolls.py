"""Small knolls 109 and small elongated knolls 110."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.features import make_features
from pipeline.landform.lines.lines import encloses_higher, is_closed
from pipeline.landform.shapes.bumps import (
    Bumps,
    best_of_each_place,
    find_bumps,
    taller_than_lumps,
)
from pipeline.landform.shapes.carried import Carried, carried, describe, height_shown_m, likelihood, worth_drawing
from pipeline.landform.shapes.closed import closed_m
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.sampling import sample
from pipeline.norm.symbols import isom

KNOLL_RADII_M = (2.0, 3.0, 4.0, 5.0, 6.0, 7.5, 9.0)
"""Sizes of knoll looked for, from the middle to the foot; larger ones have contours of their own (our choice)."""
MIN_LUMP_HEIGHT_M = 0.4
"""Lowest lump a runner sees beside a knoll: about half the lowest knoll (common practice, no source)."""
MIN_LUMP_LIKENESS = 0.4
"""Share of its shape that one rounded bump must explain for a place to count as a lump; less than a knoll needs (our
choice)."""
MIN_LUMP_CONTRAST = 2.0
"""Height over the usual unevenness round about from which a place counts as a lump; less than a knoll needs (our
choice)."""
MIN_KNOLL_HEIGHT_M = 0.85 * isom("109").smallest.height_m
"""Height in the bare earth of the lowest knoll: smoothing takes up to 15 % of a small knoll that has the metre the norm
asks of round and elongated knolls alike (our choice)."""
MIN_KNOLL_EVIDENCE = 1.8
"""Least product of likeness and contrast of a knoll: what just passes in both is a swell of the slope (our choice)."""
MIN_CLOSED_M = isom("109").smallest.height_m
"""Metres that must be closed of a knoll for a contour to go around it wherever contours lie. Such a lump is a knoll on
restless ground too, where its shape stands out less: it needs no more than the two constants below."""
MIN_CLOSED_EVIDENCE = 1.3
"""Least product of likeness and contrast of such a lump (fitted on the scene hard_moraine, where 1.3 finds three more
of 15 and nothing false; in nine other scenes it draws nothing new, while 1.2 draws a false one in scene_b)."""
MIN_CLOSED_HEIGHT_M = 0.6 * isom("109").smallest.height_m
"""Least height of such a lump above the ground around by the fit, which takes a part of the lump for ground where lump
stands beside lump (our choice)."""


def find_knolls(
    bare_earth: Heights, ground_support: Heights, grid: Grid, /, *, min_contrast: float, min_likeness: float
) -> tuple[Bumps, Carried]:
    """Small hills of earth that stand out from the ground around, on level ground and on slopes.

    Lumps smaller than a knoll, or with sides steeper than earth stands, are boulders and brush that the ground filter
    kept. They are looked for all the same, so that no knoll is fitted over them. A lump that too few ground returns
    show, or that they show to be low or narrow, is a boulder, a stump or a root plate. On restless ground, where lump
    stands beside lump, only those that tower over the others are knolls to a runner.

    Parameters
    ----------
    min_contrast : float
        Height over the usual unevenness round about that a knoll must have.
    min_likeness : float
        Share of its shape that one rounded bump must explain.

    Returns
    -------
    Bumps, one a knoll, and what ground returns say of each.
    """
    lumps = find_bumps(
        bare_earth,
        grid,
        upward=True,
        radii_m=KNOLL_RADII_M,
        min_height_m=MIN_LUMP_HEIGHT_M,
        min_contrast=MIN_LUMP_CONTRAST,
        min_likeness=MIN_LUMP_LIKENESS,
    )
    closed = closed_m(lumps.places, lumps.radius_m, bare_earth, grid, upward=True)
    is_high = (lumps.height_m >= MIN_KNOLL_HEIGHT_M) & (lumps.contrast >= min_contrast)
    may_be = (is_high & (lumps.likeness >= min_likeness)) | _is_closed(lumps, closed)
    bumps = best_of_each_place(lumps.where(may_be))
    is_closed = _is_closed(bumps, closed_m(bumps.places, bumps.radius_m, bare_earth, grid, upward=True))
    is_sure = (bumps.likeness * bumps.contrast >= MIN_KNOLL_EVIDENCE) | is_closed
    stands_out = _stands_out(bumps, best_of_each_place(lumps)) | is_closed
    # What single returns say is asked last, and of few: it takes the longest.
    is_shaped = is_sure & stands_out & _is_earth(bumps)
    bumps, is_closed = bumps.where(is_shaped), is_closed[is_shaped]
    returns = carried(bumps, bare_earth, ground_support, grid, upward=True)
    is_knoll = _is_carried(bumps, returns, is_closed)
    return bumps.where(is_knoll), returns.where(is_knoll)


def _is_closed(bumps: Bumps, closed: NDArray[np.float64], /) -> Mask:
    """(n,) bool: lumps so far closed that less of a shape makes them knolls."""
    evidence = bumps.likeness * bumps.contrast
    is_high = bumps.height_m >= MIN_CLOSED_HEIGHT_M
    return np.asarray((closed >= MIN_CLOSED_M) & is_high & (evidence >= MIN_CLOSED_EVIDENCE))


WIDEST_BOULDER_LUMP_M = 5.0
"""Radius of the widest lump a boulder makes: few boulders are 5 m wide, and what the ground filter leaves of one is
about twice as wide (our choice)."""
STEEPEST_EARTH_DEG = 33.0
"""Lumps no wider than that with steeper sides are rock or wood: loose earth rests at 30 to 35 degrees (common practice,
no source)."""
STEEPEST_WIDE_EARTH_DEG = 35.0
"""Wider lumps with steeper sides are rock: 35 degrees are all that loose earth can hold (common practice, no
source)."""
MIN_KNOLL_RADIUS_M = 2.5
"""Smaller lumps are boulders, stumps or brush that passed for ground (our choice)."""


def _is_earth(bumps: Bumps, /) -> Mask:
    """(n,) bool: lumps as wide as a knoll, with sides that loose earth can hold."""
    is_wide = bumps.radius_m >= WIDEST_BOULDER_LUMP_M
    steepest_deg = np.where(is_wide, STEEPEST_WIDE_EARTH_DEG, STEEPEST_EARTH_DEG)
    return np.asarray((bumps.side_slope_deg <= steepest_deg) & (bumps.radius_m >= MIN_KNOLL_RADIUS_M))


LUMP_REACH_M = 30.0
"""Distance within which lumps are seen together with a knoll: 2 mm of map, a few widths of its symbol (our choice)."""
MAX_EQUAL_LUMPS = 2
"""How many lumps within that distance may be about as high as a knoll; more make restless ground (our choice)."""
MAX_EQUAL_KNOLLS = 6
"""How many lumps may be about as high as what is very surely a knoll; a larger group is broken ground, 113 (our
choice)."""
MIN_TALLER_RATIO = 1.5
"""Height of a knoll over that of all other lumps around it (common practice, no source)."""


def _stands_out(bumps: Bumps, lumps: Bumps, /) -> Mask:
    """(n,) bool: whether a mapper would draw this lump and not only see one lump of many.

    What is very sure a knoll may have a few like it beside it; anything else must tower over all but two of the lumps
    around.
    """
    earth = lumps.where(_is_earth(lumps))
    over_few, over_many = (
        taller_than_lumps(bumps, earth, reach_m=LUMP_REACH_M, n_equal=n_equal) >= MIN_TALLER_RATIO
        for n_equal in (MAX_EQUAL_LUMPS, MAX_EQUAL_KNOLLS)
    )
    return np.asarray(over_few | (over_many & _is_very_sure(bumps)))


VERY_SURE_RATIO = 2.0
"""Times the least evidence of a knoll from which a shape is very sure: bushes may stand on it and equals beside it (our
choice)."""


def _is_very_sure(bumps: Bumps, /) -> Mask:
    """(n,) bool: shapes much surer than a knoll must be."""
    least = VERY_SURE_RATIO * MIN_KNOLL_EVIDENCE
    return np.asarray(bumps.likeness * bumps.contrast >= least)


MIN_HALF_WIDTH_M = 3.5
"""Width of the narrowest knoll half way up, by what its returns show: narrower lumps are boulders, stumps and root
plates that passed for ground; few are wider (our choice)."""
MAX_HALF_WIDTH_M = 12.0
"""Width half way up from which a hill is no small knoll: a contour around it is wide enough to be drawn (our
choice)."""
MIN_CARRYING_CELLS = 5
"""Cells with a ground return that must stand out at least half as far as the knoll. A boulder that the ground filter
cut away keeps about five returns on its sides, but low ones (our choice)."""


def _is_carried(bumps: Bumps, returns: Carried, is_closed: Mask, /) -> Mask:
    """(n,) bool: whether enough ground returns lie on each lump, and high enough, to believe that it is earth."""
    height_m = np.minimum(bumps.height_m, returns.height_m)
    is_high = height_m >= np.where(is_closed, MIN_CLOSED_HEIGHT_M, MIN_KNOLL_HEIGHT_M)
    is_knoll_wide = (returns.half_width_m >= MIN_HALF_WIDTH_M) & (returns.half_width_m <= MAX_HALF_WIDTH_M)
    return np.asarray(is_high & is_knoll_wide & (returns.n_cells >= MIN_CARRYING_CELLS))


MIN_ELONGATION = 1.6
"""Length over width from which a knoll is drawn as elongated, nearly that of the symbol 110, 2 to 1 (our choice)."""


KNOLL_LOG_ODDS = (-0.06, 0.94, 0.5, 3.17, 0.0, 3.66, 1.44)
"""Weights of `pipeline.landform.shapes.carried.terms` in the log odds of a knoll: fitted by `python -m
tests.benchmarks.landform_shapes fit` to shapes planted in real hillsides and tiles, and to two made scenes of restless
moraine and karst and two of real hillsides, all named there. That of the returns that carry it is the least that we
allow (our choice)."""


def draft_knolls(
    bare_earth: Heights,
    ground_support: Heights,
    seen: Heights,
    grid: Grid,
    /,
    *,
    min_contrast: float,
    min_likeness: float,
) -> gpd.GeoDataFrame:
    """Knolls as points: 109 where round, 110 with the angle of its long axis where it is elongated.

    Parameters
    ----------
    min_contrast, min_likeness : float
        As `find_knolls` takes them.

    Returns
    -------
    GeoDataFrame of features with `height_m`, `width_m` and, for 110, `angle_deg`.
    """
    knolls, returns = find_knolls(
        bare_earth, ground_support, grid, min_contrast=min_contrast, min_likeness=min_likeness
    )
    is_worth = worth_drawing(knolls, returns, KNOLL_LOG_ODDS)
    knolls, returns = knolls.where(is_worth), returns.where(is_worth)
    seen_there = np.nan_to_num(sample(seen, grid, knolls.places))
    is_long = knolls.elongation >= MIN_ELONGATION
    return make_features(
        np.asarray(shapely.points(knolls.places), dtype=object),
        crs=grid.crs,
        symbol=np.where(is_long, "110", "109").tolist(),
        confidence=likelihood(knolls, returns, seen_there, KNOLL_LOG_ODDS),
        evidence=describe(knolls, returns, "high"),
        height_m=height_shown_m(knolls, returns),
        width_m=2 * knolls.radius_m,
        angle_deg=np.where(is_long, knolls.angle_deg, np.nan),
    )


MAX_RINGED_RATIO = 1.5
"""Width of a closed line, in widths of a knoll, up to which it shows that knoll; wider ones show a hill on which the
knoll stands (our choice)."""


def without_ringed(knolls: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The knolls that no closed contour or form line of their own size shows already.

    Parameters
    ----------
    knolls : GeoDataFrame
        Features 109 and 110 with `width_m`.
    lines : GeoDataFrame
        Contours and form lines, higher ground on the left.
    """
    rings = [np.asarray(line.coords)[:, :2] for line in lines.geometry]
    hills = [shapely.Polygon(ring) for ring in rings if is_closed(ring) and encloses_higher(ring)]
    if not hills or not len(knolls):
        return knolls
    middles = shapely.centroid(np.array(hills, dtype=object))
    radius_m = np.sqrt(shapely.area(np.array(hills, dtype=object)) / np.pi)
    foot_m = knolls["width_m"].to_numpy() / 2
    away_m = shapely.distance(np.asarray(knolls.geometry)[:, None], middles[None, :])
    ringed = (away_m <= foot_m[:, None]) & (radius_m[None, :] <= MAX_RINGED_RATIO * foot_m[:, None])
    return knolls[~ringed.any(axis=1)].reset_index(drop=True)
