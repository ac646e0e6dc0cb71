"""Cliffs 201 and 202: lines along the top edge where the ground falls faster than the slope above and below explains.

A cliff is told from a steep slope by its excess: the fall over a short run, less what the ground just above and just
below would fall over the same run. Even steepness has none, however steep.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely
import shapely.ops
from rasterio.features import rasterize
from scipy import ndimage

from pipeline.features import make_features
from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.sampling import bilinear, row_col_between
from pipeline.norm.symbols import isom
from pipeline.outlines.simpler import places_along_line, simplify_by_squares
from pipeline.outlines.skeleton import ridge_lines
from pipeline.rock.cliffs.breaks import LIP_EXCESS_M, Places, along_line, find_breaks, places_along
from pipeline.rock.cliffs.falls import CLIFF_RUN_M, Floats, Steps, measure_steps, smooth_directions
from pipeline.rock.cliffs.lips import put_back_lips
from pipeline.rock.cliffs.opposite import share_with_opposite


def find_cliffs(
    bare_earth: Heights,
    ground_support: Heights,
    grid: Grid,
    /,
    *,
    lowest: Heights | None = None,
    excess_m: float,
    impassable_min_height_m: float,
) -> gpd.GeoDataFrame:
    """Cliffs as lines along the top edge, the fall on the right hand side.

    Parameters
    ----------
    bare_earth, ground_support : (rows, cols) float32, metres
    lowest : (rows, cols) float32, metres
        As `pipeline.terrain.surface.lowest_last` gives it; without it the bare earth is taken for what was seen, and
        cliffs whose lip a ground filter took off are missed.
    excess_m : float
        Fall over `CLIFF_RUN_M` that the slope above and below does not explain, from which a step may be a cliff.
    impassable_min_height_m : float
        Height from which a steep cliff is proposed as 201; ISOM 2017-2 gives none.

    Returns
    -------
    GeoDataFrame of lines: symbol 201 or 202, height_m (the 75th percentile along the line), width_m (plan extent of
    the face), angle_deg (way down), confidence, evidence.
    """
    faces = measure_faces(bare_earth, ground_support, grid, lowest=lowest, excess_m=excess_m)
    least_m = isom("202").smallest.length_m
    return make_features(
        [_at_least(face.edge, least_m) for face in faces],
        crs=grid.crs,
        symbol=[_symbol(face, impassable_min_height_m) for face in faces],
        confidence=[confidence_of(face) for face in faces],
        evidence=[_describe(face) for face in faces],
        elevation_m=[face.elevation_m for face in faces],
        height_m=[face.height_m for face in faces],
        width_m=[face.face_m for face in faces],
        angle_deg=[face.way_down_deg for face in faces],
    )


@dataclass(frozen=True)
class Face:
    """One traced step, measured.

    Attributes
    ----------
    edge : along the top, the fall on the right hand side
    elevation_m : of the edge, the mean
    height_m : from lip to foot, the 75th percentile along the line
    face_m : plan extent from lip to foot, the median
    excess_m : fall over a run beyond what the slope explains, the median
    support_m : to the nearest ground return, the 80th percentile along the line
    length_m : of the traced line
    turn_deg : how far it turns round one way
    way_down_deg : clockwise from north
    jump_m : by how much the ground above, continued to the edge, is higher than the ground below, the median
    face_share : share of the cells just below the edge whose lowest return lies between the two: on a slope or a plant
    opposite_share : share of the line before which the ground rises again, as it does in a sunken lane
    """

    edge: shapely.LineString
    elevation_m: float
    height_m: float
    face_m: float
    excess_m: float
    support_m: float
    length_m: float
    turn_deg: float
    way_down_deg: float
    jump_m: float
    face_share: float
    opposite_share: float


KEEP_LENGTH_M = 5.0
"""Faces shorter than this are left out; from here to the least length of the symbol, 9 m of ground, they are drawn
longer than they are (our choice)."""


def measure_faces(
    bare_earth: Heights,
    ground_support: Heights,
    grid: Grid,
    /,
    *,
    lowest: Heights | None = None,
    excess_m: float,
) -> list[Face]:
    """Every face that may be a cliff, as `find_cliffs` takes them."""
    lowest = bare_earth if lowest is None else lowest
    bare_earth = put_back_lips(bare_earth, lowest, grid)
    steps = measure_steps(bare_earth, grid)
    traced = _traced(steps, grid, excess_m=excess_m)
    pieces = [piece for line in traced for piece in cut_where_weak(line, steps, grid, excess_m=excess_m)]
    lines = [piece for piece in pieces if piece.length >= KEEP_LENGTH_M]
    heights = np.nan_to_num(fill_nearest(bare_earth.astype(np.float64)))
    seen = _breaks_along(places_along(lines, steps, grid), lowest, bare_earth, grid)
    support = np.nan_to_num(ground_support.astype(np.float64), nan=9.0)
    faces = [_measure(line, *one, heights, support, steps, grid) for line, one in zip(lines, seen, strict=True)]
    # Where the ground above is hardly higher than that below, the bare earth bulges, and its flank is no face.
    return [f for f in faces if f.height_m >= isom("202").smallest.height_m and f.jump_m >= LIP_EXCESS_M]


def _traced(steps: Steps, grid: Grid, /, *, excess_m: float) -> list[shapely.LineString]:
    """Lines along the steps: the longest way through each strip of cells, and the longest through what that left out.

    Where a face stands above another step, such as the shore of a pond, their cells hang together and fork. The longest
    way follows one of the two; half of the face was lost with the other branch.
    """
    cells = _step_cells(steps, excess_m)
    first = ridge_lines(cells, grid)
    if not first:
        return first
    near = shapely.buffer(np.array(first, object), CLIFF_RUN_M)
    is_left = cells & (rasterize(near, out_shape=grid.shape, transform=grid.transform, dtype=np.uint8) == 0)
    return [*first, *ridge_lines(_with_strong(is_left, _strong_cells(steps, excess_m)), grid)]


WEAK_SHARE = 0.4
"""A stretch of a line is weak where its excess is less than this share of the line's best: the cliff has run on into a
bank or the side of a gully (our choice)."""
CUT_SHARE = 0.33
"""Share of a line that must be weak for it to be cut: a third and more spoils its medians. Less is an end that tapers
off, or the low side of a pit, which must stay with the rest for the pit to be known by its turn."""
LEAST_RUN_DOWN = 0.5
"""A line is cut at any weak stretch between strong ones along which it runs down the slope: such a stretch leads from
one step to another one below it, and the two would pass for a single face that turns round like the side of a pit. It
runs down where the cosine between the line and the way down is at least this on average, so within 60 degrees of the
way down (our choice); along a face it is next to 0, along the low side of a pit too."""


def cut_where_weak(
    line: shapely.LineString, steps: Steps, grid: Grid, /, *, excess_m: float
) -> list[shapely.LineString]:
    """The line cut where its step is weak over a stretch as long as a face, so that each part is judged alone.

    A part that holds no step with an excess of `excess_m` is left out.
    """
    along = np.arange(0.5, line.length, 1.0)
    longest_weak = int(KEEP_LENGTH_M)
    if len(along) < 2 * longest_weak:
        return [line]
    places = shapely.get_coordinates(line.interpolate(along))
    excess = bilinear(steps.excess_m, *row_col_between(places, grid))
    is_weak = excess < WEAK_SHARE * np.percentile(excess, 90)
    # Opened and closed again: stretches too short to be a face of their own stay with what is around them.
    is_weak = ndimage.binary_opening(is_weak, np.ones(longest_weak, bool))
    is_weak = ~ndimage.binary_opening(~is_weak, np.ones(longest_weak, bool))
    if is_weak.mean() < CUT_SHARE:
        is_weak = _leads_down(is_weak, places, steps, grid)
    cuts = [0, *(np.flatnonzero(np.diff(is_weak)) + 1), len(along)]
    # What no longer hangs together with a strong step has to be one itself.
    kept = [(a, b) for a, b in pairwise(cuts) if len(cuts) == 2 or excess[a:b].max() >= excess_m]
    return [_part(line, a, b if b < len(along) else line.length) for a, b in kept]


def _leads_down(is_weak: Mask, places: Floats, steps: Steps, grid: Grid, /) -> Mask:
    """The weak stretches between two strong ones along which the line runs down the slope; places are a metre apart."""
    at = row_col_between(places, grid)
    down = np.column_stack((bilinear(steps.down_east, *at), bilinear(steps.down_north, *at)))
    runs_down = np.abs((along_line(places) * down).sum(axis=1))
    stretch, n = ndimage.label(is_weak)
    leads = np.zeros(n + 1, bool)
    leads[1:] = ndimage.mean(runs_down, stretch, np.arange(1, n + 1)) >= LEAST_RUN_DOWN
    leads[[stretch[0], stretch[-1]]] = False
    which: Mask = leads[stretch]
    return which


def _part(line: shapely.LineString, from_m: float, to_m: float) -> shapely.LineString:
    """The line between two distances along it."""
    return shapely.LineString(shapely.ops.substring(line, from_m, to_m).coords)


def _breaks_along(
    lines: list[Places], lowest: Heights, bare_earth: Heights, grid: Grid, /
) -> list[tuple[float, float]]:
    """Of each line, by how much the ground above is higher than that below, and the share seen between the two."""
    found: list[tuple[float, float]] = []
    for places, _, breaks in find_breaks(lines, lowest, bare_earth, grid):
        for one in np.split(np.arange(len(places.line)), np.flatnonzero(np.diff(places.line)) + 1):
            n_face, n_foot = int(breaks.n_face[one].sum()), int(breaks.n_foot[one].sum())
            # Laplace's rule of succession: where next to nothing was seen, the share is a half.
            found.append((float(np.median(breaks.jump_m[one])), (n_face + 1) / (n_face + n_foot + 2)))
    return found


MIN_SLOPE_DEG = 35.0
"""Least mean slope over the run: a vertical step of 1 m, seen by noisy cells of 1 m, falls to about this."""
LEAST_FALL_M = float(np.tan(np.radians(MIN_SLOPE_DEG)) * CLIFF_RUN_M)
"""What that comes to over the run."""
WEAK_EXCESS_SHARE, WEAK_SLOPE_SHARE = 0.6, 0.7
"""Cells with these shares of the least excess and of the least slope belong to a step where they hang together with
cells that have all of both (our choice; thresholds with hysteresis are common practice)."""


def _step_cells(steps: Steps, excess_m: float) -> Mask:
    """Cells of a step: weak ones count where they hang together with strong ones."""
    weak = steps.excess_m >= WEAK_EXCESS_SHARE * excess_m
    weak &= steps.fall_m >= WEAK_SLOPE_SHARE * LEAST_FALL_M
    return _with_strong(weak, _strong_cells(steps, excess_m))


def _strong_cells(steps: Steps, excess_m: float) -> Mask:
    which: Mask = (steps.excess_m >= excess_m) & (steps.fall_m >= LEAST_FALL_M)
    return which


def _with_strong(cells: Mask, strong: Mask) -> Mask:
    """The cells that hang together with strong ones among them."""
    labels, n = ndimage.label(cells, np.ones((3, 3)))
    has_strong = np.zeros(n + 1, bool)
    has_strong[np.unique(labels[strong & cells])] = True
    has_strong[0] = False
    mask: Mask = has_strong[labels]
    return mask


def _measure(
    line: shapely.LineString,
    jump_m: float,
    face_share: float,
    heights: Floats,
    support: Floats,
    steps: Steps,
    grid: Grid,
) -> Face:
    """Height, plan extent and place of the edge of a step, from profiles across it every metre."""
    places = places_along_line(shapely.get_coordinates(line), 1.0)
    row, col = row_col_between(places, grid)
    down = smooth_directions(
        np.column_stack((bilinear(steps.down_east, row, col), bilinear(steps.down_north, row, col)))
    )
    lip, foot, height = _profile(places, down, heights, grid)
    edge = _edge_line(places, down, lip)
    excess = bilinear(steps.excess_m, row, col)
    height_m = float(np.percentile(height, 75))
    return Face(
        edge=edge,
        elevation_m=float(np.mean(bilinear(heights, *row_col_between(np.array(edge.coords), grid)))),
        height_m=height_m,
        face_m=max(float(np.median(foot - lip)), grid.cell_m),
        excess_m=float(np.median(excess)),
        support_m=float(np.percentile(bilinear(support, row, col), SUPPORT_PERCENTILE)),
        length_m=line.length,
        turn_deg=_turn_deg(edge, excess),
        way_down_deg=float(np.degrees(np.arctan2(down[:, 0].mean(), down[:, 1].mean())) % 360),
        jump_m=jump_m,
        face_share=face_share,
        opposite_share=share_with_opposite(places + down * lip[:, None], down, height_m, heights, grid),
    )


IMPASSABLE_MIN_SLOPE_DEG = 50.0
"""Least mean slope from lip to foot of a cliff proposed as 201: what is gentler can be climbed (our choice)."""


def _symbol(face: Face, impassable_min_height_m: float) -> str:
    """201 for what is high and steep, else 202; ISOM 2017-2 gives 201 no height, so it is a proposal."""
    is_steep = face.height_m / face.face_m >= np.tan(np.radians(IMPASSABLE_MIN_SLOPE_DEG))
    return "201" if is_steep and face.height_m >= impassable_min_height_m else "202"


def _describe(face: Face) -> str:
    return (
        f"ground falls {face.height_m:.1f} m over {face.face_m:.1f} m, {face.excess_m:.1f} m more than the slope above "
        f"and below explains, along {face.length_m:.0f} m; continued to the edge, the ground above is "
        f"{face.jump_m:.1f} m higher than that below; {100 * face.face_share:.0f} % of the lowest returns at the foot "
        f"lie between; along four fifths of it a ground return lies within {face.support_m:.1f} m"
    )


def face_terms(face: Face, /) -> Floats:
    """(6,) what the log odds of a face weigh.

    In this order: 1; the logarithms of the excess, of the steepness, of the length and of the share of the height that
    is a jump; and the share of returns that lie between the ground above and below. Logarithms, because doubling the
    height of a face adds as much certainty at one metre as at three.
    """
    steepness = np.clip(face.height_m / face.face_m, 0.3, 4.0)
    jump_share = np.clip(face.jump_m / face.height_m, 0.2, 1.2)
    sizes = (max(face.excess_m, 0.3), steepness, np.clip(face.length_m, 5, 60), jump_share)
    return np.array([1.0, *np.log(sizes), face.face_share])


FACE_LOG_ODDS = (-2.45, 1.96, 4.24, 1.77, 3.39, -5.01)
"""Weights of the six terms of `face_terms` in the log odds: fitted by `python -m tests.benchmarks.rock_cliffs fit` to
steps planted in real tiles and to the cliffs of made scenes, with the seeds named there."""
DOUBT_POWER = 3.0
"""Power to which the doubt in a face is taken. The weights above count a planted step a quarter, as there are more than
in any terrain, and so leave more doubt than there is: of the faces that they called 0.3 to 0.8 sure nearly all were
cliffs. Fitted on a made steep scene, a made moraine and five blocks of real relief under invented forest, where 13 of
13 faces stated at 0.65 to 0.8 and 82 of 88 above are cliffs, and on steps planted in real tiles. With 4 the numbers fit
a little better still, but true cliffs that lie mostly on ground hardly seen would fall below what is drawn."""
SUPPORT_PERCENTILE = 80.0
"""Share of a face, in per cent, that must have a ground return near. With the median, half of a line may run over
ground that nothing was seen of."""
SEEN_M = 0.7
"""A ground return this near to most of a face shows it: about how far apart they lie in open forest."""
UNSEEN_LOG_ODDS_PER_M = 2.0
"""Log odds a face loses for each metre that ground returns are farther away. Fitted on four made hard scenes, four
blocks of real relief under invented forest and a real rain forest: of true faces there 3 and 5 in 100 metres are lost,
of the 1 054 m in the rain forest, where every third cell is hardly seen, 249 are left. With the median and 0.8, as
before, a crooked line of 206 m was drawn there."""
MOST_TURN_DEG = 90.0
"""A face turning farther than this round one way is taken for the side of a pit or dam, an earth bank 104 (our
choice)."""
STEEPEST_EARTH_DEG = 50.0
"""The side of a trench is taken for earth where it is no steeper than this from lip to foot: earth holds 50 degrees at
most, with roots in it (common practice, no source)."""
MOST_OPPOSITE_SHARE = 0.5
"""A face with ground that rises again before more of it than this is the side of a trench: a sunken lane, a ditch, a
gully (our choice)."""
EARTH_CONFIDENCE = 0.25
"""Most that a face that turns or is the side of a trench is believed to be rock: not measured, but below what the draft
shows by default, so that it stays out unless a mapper asks for it."""


def confidence_of(face: Face, /) -> float:
    """Probability that a mapper would draw the step as a cliff.

    By rule it is lower where returns are far from the face, so that only the ground above and below was seen. A face
    that turns far round one way is the side of a pit or a dam, which is an earth bank (ISOM 2017-2, 104) until
    somebody has seen rock there.
    """
    odds = float(face_terms(face) @ np.array(FACE_LOG_ODDS))
    odds -= UNSEEN_LOG_ODDS_PER_M * max(face.support_m - SEEN_M, 0.0)
    sure = float(1 - (1 + np.exp(odds)) ** -DOUBT_POWER)
    return min(sure, EARTH_CONFIDENCE) if face.turn_deg > MOST_TURN_DEG or _is_side_of_trench(face) else sure


def _is_side_of_trench(face: Face) -> bool:
    is_earth = face.height_m / face.face_m <= np.tan(np.radians(STEEPEST_EARTH_DEG))
    return bool(is_earth and face.opposite_share > MOST_OPPOSITE_SHARE)


END_SHARE = 0.3
"""Ends of a line where its excess is less than this share of the line's best do not count for its turn (our choice)."""


def _turn_deg(edge: shapely.LineString, excess: Floats) -> float:
    """How far a line turns round one way, beyond what its wiggles and the hooks at its ends do.

    Weak ends are left out: there a straight face runs out into the slopes beside it, which turn as they like, while
    the side of a pit is about as high all round.
    """
    strong = np.flatnonzero(excess >= END_SHARE * np.percentile(excess, 90))
    first, last = strong[0] / len(excess), (strong[-1] + 1) / len(excess)
    shares = first + (last - first) * np.linspace(0.1, 0.9, 9)
    smooth = np.array([edge.interpolate(share, normalized=True).coords[0] for share in shares])
    legs = np.diff(smooth, axis=0)
    heading = np.unwrap(np.arctan2(legs[:, 1], legs[:, 0]))
    return float(np.degrees(abs(heading[-1] - heading[0])))


def _profile(places: Floats, down: Floats, heights: Floats, grid: Grid) -> tuple[Floats, Floats, Floats]:
    """Distances of lip and foot from the line (metres down the slope) and the height between them, at each place.

    Lip and foot are where the profile departs most from the chord between 4 m above and 4 m below: the highest and
    the lowest point of what is left.
    """
    reach = np.arange(-4.0, 4.01, 0.25)
    east = places[:, 0:1] + down[:, 0:1] * reach
    north = places[:, 1:2] + down[:, 1:2] * reach
    row, col = row_col_between(np.column_stack((east.ravel(), north.ravel())), grid)
    profile = bilinear(heights, row, col).reshape(east.shape)
    chord = profile[:, :1] + (profile[:, -1:] - profile[:, :1]) * (reach - reach[0]) / (reach[-1] - reach[0])
    left = profile - chord
    middle = len(reach) // 2
    lip_at = left[:, : middle + 3].argmax(axis=1)
    foot_at = middle - 2 + left[:, middle - 2 :].argmin(axis=1)
    each = np.arange(len(places))
    return reach[lip_at], reach[foot_at], profile[each, lip_at] - profile[each, foot_at]


def _edge_line(places: Floats, down: Floats, lip: Floats) -> shapely.LineString:
    """The line moved to the lip, smoothed, with the fall on its right hand side."""
    shift = ndimage.uniform_filter1d(ndimage.median_filter(lip, 5, mode="nearest"), 5, mode="nearest")
    edge = places + down * shift[:, None]
    edge = np.asarray(ndimage.gaussian_filter1d(edge, 1.5, axis=0, mode="nearest"))
    along = edge[-1] - edge[0]
    right = np.array([along[1], -along[0]])
    if right @ down.mean(axis=0) < 0:
        edge = edge[::-1]
    return shapely.LineString(simplify_by_squares(edge, 0.3))


def _at_least(line: shapely.LineString, length_m: float) -> shapely.LineString:
    """The line, drawn out at both ends to the least length the symbol needs."""
    missing = length_m - line.length
    if missing <= 0:
        return line
    ends = np.array(line.coords)
    first, last = ends[0] - ends[-1], ends[-1] - ends[0]
    first, last = first / max(np.hypot(*first), 1e-9), last / max(np.hypot(*last), 1e-9)
    return shapely.LineString([ends[0] + first * missing / 2, *ends[1:-1], ends[-1] + last * missing / 2])
