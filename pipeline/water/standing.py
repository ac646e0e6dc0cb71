"""Standing water: level places where the survey got few pulses back, and what its makers classified as water."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import Polygon

from pipeline.lattice.fill import nearest_known
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.reach import within_reach
from pipeline.norm.symbols import isom
from pipeline.outlines.outline import outlines_of
from pipeline.water.sight.ground import LEAST_PER_M2, Sight

CLASS_WINDOW_M = 3.0
"""Side in metres of the window in which returns of the survey's water class are counted. Our choice."""
CLASS_MIN_RATIO = 0.5
"""Share of the last returns in that window that must be of the water class for a cell to be water, 0 to 1: half, as at
the edge of a straight shore. Our choice."""
THIN_WINDOW_PULSES = 20.0
"""Pulses that the window in which they are counted holds at the usual density of the survey: their number varies by a
quarter by chance alone. Smaller windows see water in chance, larger ones miss small ponds. Our choice."""
SURVEY_MOUTH_M = 28.0
"""Width in metres up to which the edge of the survey may cut a lake without its gap counting as land not surveyed:
a canal. With 20 m, half of one was missing at the corner of a survey; with 32 m, houses at the edge of the same survey
became water. Our choice."""
VOID_MAX_RATIO = 0.15
"""Share of the usual pulses below which the ground is drawn from bank to bank instead of seen. Our choice."""
VOID_MAX_SPREAD_M = 1.0
"""Half the range of heights, in metres, that the ground of such a void may have: its banks are seen up to 1 m high. Our
choice."""
LEVEL_MAX_SPREAD_M = 0.25
"""Half the range of heights, in metres, up to which a thin patch is level enough for water: its shores are drawn
between returns. Our choice."""
CALM_MAX_RATIO = 0.45
"""Share of the usual pulses below which very level ground is water too: below the aircraft water sends back many. It
must stay below 0.5, which is what one flight line of two sends. Our choice."""
CALM_MAX_SPREAD_M = 0.05
"""Half the range of heights, in metres, up to which ground is that level: the noise of the heights; hardly any land is
so level. Our choice."""
POND_MIN_CORE_M2 = 20.0
"""Area in square metres of the smallest thin patch that starts a pond. Smaller patches are chance. Our choice."""
LEVEL_TOLERANCE_M = 0.12
"""Metres from the level of the water within which ground next to it belongs to it: ripples and noise. Our choice."""
SHORE_REACH_M = 3.0
"""How far, in metres, the shore may lie beyond the thin patch: half the window in which pulses are counted, and more.
Our choice."""
CROWN_REACH_M = 6.0
"""The same where crowns that hang over the water took its pulses: without it, ponds among trees came out a twentieth
too small in a made scene. Our choice."""
CROWN_MIN_SHARE = 0.2
"""Share of the usual pulses that must have ended in crowns on their way to a place for it to lie below crowns. Our
choice."""
SHORE_MAX_RATIO = 0.7
"""Share of the usual pulses up to which a place at the shore is water: half the window lies on land, which gives 0.5,
and the other half on water, which sends back a little. With 0.55 the shore lay 0.9 m out in the water in a town mapped
by its council, and four of five ponds of made scenes were too small. Our choice."""
MIRROR_MAX_RATIO = 0.8
"""Share of the usual pulses up to which what continues a pond at its level is water: straight below the aircraft water
sends back nearly as many as land. Our choice."""
MIRROR_TOLERANCE_M = 0.06
"""Metres from the level of a pond within which a place continues it: the noise of the heights. Our choice."""
POND_CLOSE_M = 1.0
"""Radius in metres of the gaps in water that are closed: stray returns from waves and reed. Our choice."""
POND_MIN_AREA_M2 = 64.0
"""Area in square metres of the smallest water proposed, and of the smallest island in it that is kept: 8 m x 8 m. Our
choice, and less than the norm draws (302: 0.49 mm2, 110 m2 on the ground)."""
FLAT_MAX_SPREAD_M = 0.3
"""Half the interquartile range of the heights of a body of water, in metres, up to which it is level, and is made flat
in the bare earth: ripples and noise stay below. With more, gaps of the survey on slopes become lakes. Our choice."""
THIN_BODY_MAX_RATIO = 0.35
"""Share of the usual pulses up to which that is enough; a body of more must be as level as calm water. Of 51 ponds that
were planted in real tiles or that a map of a town shows none had more; a courtyard of that town had 0.44."""
BANK_FROM_M = 2.0
"""Distance from the shore, in metres, from which the ground around water counts as its bank: nearer to it heights are
blurred. Our choice."""
BANK_TO_M = 4.0
"""Distance from the shore, in metres, up to which ground counts as the bank and not as the slope behind it. Our
choice."""


@dataclass(frozen=True)
class Water:
    """A body of water and what speaks for it.

    Attributes
    ----------
    shape : Polygon in the working CRS
    level_m : float
        Elevation of the surface.
    spread_m : float
        Half the interquartile range of the bare earth within.
    bank_m : float
        Median height of the ground just beyond the shore above the surface.
    thinness : float, 0..1
        Last returns a square metre within, over those of the survey.
    classed_share : float, 0..1
        Share of the surface that the survey's own classes call water.
    """

    shape: Polygon
    level_m: float
    spread_m: float
    bank_m: float
    thinness: float
    classed_share: float


@dataclass(frozen=True)
class Usual:
    """How many of the pulses aimed at ground meet something in this survey.

    Attributes
    ----------
    mean_per_m2 : float
        Mean of the pulses aimed at a square metre near ground returns; 0 where the survey saw no ground.
    median_per_m2 : float
        Median of the same, each a mean over the window in which pulses are counted.
    """

    mean_per_m2: float
    median_per_m2: float

    @classmethod
    def of(cls, sight: Sight, /) -> Usual:
        """What is usual among the cells of a sight."""
        cell_m, aimed = sight.grid.cell_m, sight.aimed_pulses
        seen = sight.ground_support < 2 * cell_m
        mean_per_m2 = float(aimed[seen].mean()) / cell_m**2 if seen.any() else 0.0
        if mean_per_m2 <= 0:
            return cls(0.0, 0.0)
        around = _around(aimed, _cells(math.sqrt(THIN_WINDOW_PULSES / mean_per_m2), cell_m))
        return cls(mean_per_m2, float(np.median(around[seen])) / cell_m**2)


@dataclass(frozen=True)
class Surface:
    """Cells that are water, and what they were told by.

    Attributes
    ----------
    water, classed : (rows, cols) bool
        Water by both signs or by class; water by class alone.
    density : (rows, cols) float32
        Pulses aimed at the ground around each cell that met anything, or last returns that lie there, whichever is
        more, over those that are usual.
    """

    water: Mask
    classed: Mask
    density: NDArray[np.float32]


def water_surface(sight: Sight, usual: Usual, /, *, thin_max_ratio: float) -> Surface:
    """The cells of a sight that standing water covers.

    A smooth surface of water sends pulses away unless they fall on it steeply, so the pulses aimed at it are lost; and
    it is level. Ground that lies in the shadow of a stand is thin in returns too, but its pulses ended in the crowns:
    they are counted where they were aimed at. Either the survey's own water class or both signs together are asked for.
    Fresh asphalt and dark flat roofs look the same, so each body stays a proposal. A survey without returns at all is
    not water.

    Parameters
    ----------
    thin_max_ratio : float
        Share of the usual pulses below which level ground is water.
    """
    cell_m = sight.grid.cell_m
    classed = _classed(sight.water_returns, sight.last_returns, cell_m)
    aimed, lying = (_density(counts, usual, cell_m) for counts in (sight.aimed_pulses, sight.last_returns))
    # At the rim of the survey lie returns of pulses that were aimed beyond it, and the other way round.
    density = np.maximum(aimed, lying)
    # Crowns that hang over a shore took pulses aimed at the water, so the shore is looked for where returns lie.
    lying = np.minimum(aimed, lying)
    inside = _inside_survey(sight.last_returns, cell_m) & (usual.mean_per_m2 >= LEAST_PER_M2)
    levels = _thin_and_level(sight.bare_earth, density, lying, inside, cell_m, thin_max_ratio=thin_max_ratio)
    return Surface(_tidied(classed | levels, cell_m), classed, density)


def bodies_of(surface: Surface, sight: Sight, /) -> list[Water]:
    """The ponds and lakes of a surface, each with its shore and what speaks for it."""
    grid = sight.grid
    labels, _ = ndimage.label(surface.water)
    bodies: list[Water] = []
    for number, box in enumerate(ndimage.find_objects(labels), start=1):
        window = _widened((box[0], box[1]), 6.0, grid)
        body = labels[window] == number
        if body.sum() * grid.cell_m**2 < POND_MIN_AREA_M2:
            continue
        thinness = float(surface.density[window][body].mean())
        judged = _judge(body, sight.bare_earth[window], surface.classed[window], thinness, grid, window)
        bodies += [judged] if judged.shape.area >= POND_MIN_AREA_M2 and _is_water(judged) else []
    return bodies


def _is_water(body: Water) -> bool:
    """Whether the signs of a body as a whole still say water: it may have grown together of parts that each did."""
    most_spread_m = FLAT_MAX_SPREAD_M if body.thinness <= THIN_BODY_MAX_RATIO else CALM_MAX_SPREAD_M
    return body.classed_share >= CLASS_MIN_RATIO or body.spread_m <= most_spread_m


def _cells(length_m: float, cell_m: float) -> int:
    """The odd number of cells nearest to a length, at least 1."""
    return max(1, 2 * round((length_m / cell_m - 1) / 2) + 1)


def _disc_cells(radius_m: float, cell_m: float) -> int:
    """Radius of a disc in whole cells, at least 1."""
    return max(1, round(radius_m / cell_m))


def _grown_by(cells: Mask, reach_cells: int) -> Mask:
    """A mask and what lies within reach of it."""
    return within_reach(cells, reach_m=reach_cells, cell_m=1.0)


def _shrunk_by(cells: Mask, reach_cells: int) -> Mask:
    """The cells of a mask that nothing outside it lies within reach of; at the rim it goes on as it is."""
    rim = reach_cells + 1
    outside = np.pad(~cells, rim, mode="edge")
    return ~within_reach(outside, reach_m=reach_cells, cell_m=1.0)[rim:-rim, rim:-rim]


def _opened(cells: Mask, radius_m: float, cell_m: float) -> Mask:
    """The cells of a mask that discs of a radius inside it cover."""
    reach_cells = _disc_cells(radius_m, cell_m)
    return _grown_by(_shrunk_by(cells, reach_cells), reach_cells)


def _classed(water: Heights, last: Heights, cell_m: float, /) -> Mask:
    """Cells around which enough of the last returns are of the water class."""
    size = _cells(CLASS_WINDOW_M, cell_m)
    of_water, of_all = (square_mean(returns, size, rim="constant") for returns in (water, last))
    classed: Mask = (of_water / np.maximum(of_all, 1e-6) >= CLASS_MIN_RATIO) & (of_water > 1e-6)
    return classed


def _density(counts: Heights, usual: Usual, cell_m: float, /) -> NDArray[np.float32]:
    """Pulses around each cell as a share of the survey's usual number.

    The window is as large as `THIN_WINDOW_PULSES` need at the usual density.
    """
    if usual.mean_per_m2 <= 0:
        return np.ones(counts.shape, np.float32)
    density = _around(counts, _cells(math.sqrt(THIN_WINDOW_PULSES / usual.mean_per_m2), cell_m))
    share: NDArray[np.float32] = density / max(usual.median_per_m2 * cell_m**2, 1e-6)
    return share


def _around(counts: Heights, size_cells: int) -> NDArray[np.float32]:
    """Mean of the counts of the cells, in the square window around each."""
    return square_mean(counts.astype(np.float32), size_cells, rim="nearest")


def _inside_survey(last: Heights, cell_m: float, /) -> Mask:
    """What the survey covered: its returns with all gaps closed that returns surround.

    A gap that opens to the outside through a mouth narrower than `SURVEY_MOUTH_M` counts as surrounded.
    """
    reach_m = SURVEY_MOUTH_M / 2
    rim = math.ceil(reach_m / cell_m) + 2
    met = np.pad(last > 0, rim)
    far = ~within_reach(met, reach_m=reach_m, cell_m=cell_m)
    joined = ~within_reach(far, reach_m=reach_m, cell_m=cell_m)
    inside: Mask = ndimage.binary_fill_holes(joined | met)[rim:-rim, rim:-rim]
    return inside


def _thin_and_level(
    bare_earth: Heights,
    density: NDArray[np.float32],
    lying: NDArray[np.float32],
    inside: Mask,
    cell_m: float,
    /,
    *,
    thin_max_ratio: float,
) -> Mask:
    """Patches whose pulses are lost and whose ground is level, out to where returns come back or the ground rises.

    `density` is of pulses where they were aimed at or where their last returns lie, whichever is more; `lying` is
    whichever is less; both are shares of the usual. The more pulses came back, the more level the ground has to be.
    """
    found = np.zeros(density.shape, bool)
    grades = (
        (thin_max_ratio, LEVEL_MAX_SPREAD_M),
        (CALM_MAX_RATIO, CALM_MAX_SPREAD_M),
    )
    for max_ratio, max_spread_m in grades:
        core = inside & (density < max_ratio) & ~found
        core = _opened(core, isom("302").smallest.width_m / 2, cell_m)
        labels, _ = ndimage.label(core)
        margin = 2 * _disc_cells(CROWN_REACH_M, cell_m) + 1
        for number, box in enumerate(ndimage.find_objects(labels), start=1):
            if np.count_nonzero(labels[box] == number) * cell_m**2 < POND_MIN_CORE_M2:
                continue
            window = tuple(slice(max(0, s.start - margin), s.stop + margin) for s in box)
            found[window] |= _grown(
                labels[window] == number,
                bare_earth[window],
                np.where(inside[window], lying[window], np.inf),
                density[window] - lying[window] >= CROWN_MIN_SHARE,
                cell_m,
                max_spread_m,
            )
    return found | _mirrors(bare_earth, found, inside & (density < MIRROR_MAX_RATIO))


def _grown(
    body: Mask,
    heights: Heights,
    density: NDArray[np.float32],
    is_below_crowns: Mask,
    cell_m: float,
    max_spread_m: float,
    /,
) -> Mask:
    """A thin patch out to its shore, or nothing where it is not level.

    Where hardly anything came back the bare earth is drawn from bank to bank, so it may be less level there, and it
    says nothing about where the water ends.
    """
    level, spread = _level_of(heights[body])
    is_void = float(density[body].mean()) < VOID_MAX_RATIO
    if spread > (max(VOID_MAX_SPREAD_M, max_spread_m) if is_void else max_spread_m):
        return np.zeros(body.shape, bool)
    tolerance_m = max(LEVEL_TOLERANCE_M, 2 * spread)
    is_level = (np.abs(heights - level) <= tolerance_m) | (density < VOID_MAX_RATIO)
    below_crowns = is_below_crowns & _grown_by(body, _disc_cells(CROWN_REACH_M, cell_m))
    near = _grown_by(body, _disc_cells(SHORE_REACH_M, cell_m)) | below_crowns
    at_level = near & is_level & (density < SHORE_MAX_RATIO)
    grown: Mask = ndimage.binary_propagation(body & at_level, mask=at_level)
    return grown


def _mirrors(bare_earth: Heights, found: Mask, thinned: Mask, /) -> Mask:
    """What continues a level body at its very level where more pulses come back: water straight below the aircraft."""
    labels, count = ndimage.label(found)
    if count == 0:
        return found
    boxes = ndimage.find_objects(labels)
    levels = np.array(
        [_level_of(bare_earth[box][labels[box] == number])[0] for number, box in enumerate(boxes, start=1)]
    )
    level = levels[labels[nearest_known(found)] - 1]
    as_level = thinned & (np.abs(bare_earth - level) <= MIRROR_TOLERANCE_M)
    as_level = ndimage.binary_opening(as_level, np.ones((3, 3), bool))
    grown: Mask = ndimage.binary_propagation(found, mask=as_level | found)
    return grown


def _level_of(heights: NDArray[np.float32]) -> tuple[float, float]:
    """Level of a patch and half the range between its 10th and 90th percentile; infinite spread without heights.

    The level is the lower quartile: near the shore the ground between returns is drawn up towards the bank.
    """
    known = heights[np.isfinite(heights)]
    if len(known) < 4:
        return math.nan, math.inf
    low, quarter, high = np.percentile(known, [10, 25, 90])
    return float(quarter), float(high - low) / 2


def _tidied(surface: Mask, cell_m: float, /) -> Mask:
    """Water wide enough to be drawn, without islands too small to be."""
    n = _disc_cells(POND_CLOSE_M, cell_m)
    # Beyond the rim water goes on as it is: without it the last metres of a lake that the survey cuts would be land.
    rim = 2 * n + 1
    closed = _shrunk_by(_grown_by(np.pad(surface, rim, mode="edge"), n), n)[rim:-rim, rim:-rim]
    opened = _opened(closed, isom("302").smallest.width_m / 2, cell_m)
    holes, _ = ndimage.label(ndimage.binary_fill_holes(opened) & ~opened)
    size = np.bincount(holes.ravel())
    is_small = size * cell_m**2 < POND_MIN_AREA_M2
    is_small[0] = False
    tidy: Mask = opened | is_small[holes]
    return tidy


def _widened(box: tuple[slice, slice], margin_m: float, grid: Grid) -> tuple[slice, slice]:
    n = math.ceil(margin_m / grid.cell_m)
    rows, cols = box
    return slice(max(0, rows.start - n), rows.stop + n), slice(max(0, cols.start - n), cols.stop + n)


def _judge(
    body: Mask, bare_earth: Heights, classed: Mask, thinness: float, grid: Grid, window: tuple[slice, slice], /
) -> Water:
    """A body of water with its outline and its evidence."""
    level, _ = _level_of(bare_earth[body])
    known = bare_earth[body & np.isfinite(bare_earth)]
    spread = float(np.subtract(*np.percentile(known, [75, 25]))) / 2 if len(known) else math.nan
    inner, outer = (_grown_by(body, _disc_cells(reach_m, grid.cell_m)) for reach_m in (BANK_FROM_M, BANK_TO_M))
    banks = bare_earth[outer & ~inner & np.isfinite(bare_earth)]
    bank = float(np.median(banks)) - level if len(banks) and math.isfinite(level) else math.nan
    return Water(_outline(body, grid, window), level, spread, bank, thinness, float(classed[body].mean()))


def _outline(body: Mask, grid: Grid, window: tuple[slice, slice]) -> Polygon:
    """The shore: the outline of the largest part of a body."""
    return max(outlines_of(body, grid.part(window)), key=lambda part: part.area, default=Polygon())
