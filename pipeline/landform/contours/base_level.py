"""The base level: which elevations the contours take, and what another choice would gain."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.landform.contours.isolines import contour_levels, trace_contours
from pipeline.landform.contours.limits import CONTOURS_APART_M
from pipeline.landform.contours.necks import necks_between
from pipeline.landform.contours.rings import are_large_enough
from pipeline.landform.lines.lines import enclose_higher, is_closed
from pipeline.lattice.grid import Bounds, EastNorth, Grid, Heights


@dataclass(frozen=True)
class BaseLevel:
    """One choice of the base level and what it draws.

    Attributes
    ----------
    offset_m : float
        Elevation one contour takes, from minus to plus half an interval.
    n_hills, n_hollows : int
        Summits and bottoms that get a closed contour of their own, large enough to draw.
    n_necks : int
        Places where a contour nearly touches another of its level: saddles drawn unclearly.
    gain : int
        Summits, bottoms and clear saddles gained over a base level of 0; negative where it loses.
    """

    offset_m: float
    n_hills: int
    n_hollows: int
    n_necks: int
    gain: int

    def __str__(self) -> str:
        """What a mapper is told."""
        return (
            f"base level {self.offset_m:+.1f} m draws {self.n_hills} hills and {self.n_hollows} hollows with a contour "
            f"of their own and leaves {self.n_necks} unclear saddles ({self.gain:+d} against 0 m)"
        )


@dataclass(frozen=True)
class LevelCount:
    """What one base level draws in a part of the area; counts of parts add up."""

    offset_m: float
    n_hills: int
    n_hollows: int
    n_necks: int


def count_base_levels(
    surface: Heights, grid: Grid, /, *, interval_m: float, core: Bounds | None = None
) -> list[LevelCount]:
    """What each base level draws: one for every tenth of the interval.

    Parameters
    ----------
    surface : (rows, cols) float32
        The generalised surface the contours are traced on.
    core : west, south, east, north in metres
        Only what has its middle there counts (west and south edge included); all of the surface, where not given.
    """
    offsets = [interval_m * tenth / 10 for tenth in range(-4, 6)]
    return [_count(surface, grid, offset, interval_m=interval_m, core=core) for offset in offsets]


def propose_base_level(counts: Sequence[LevelCount], /) -> list[BaseLevel]:
    """Base levels, the best first; of equals the one nearest to 0 m.

    Relative heights are what a runner reads, absolute ones matter little (ISOM 2000, 2.3), so the contours may be
    shifted as a whole to where they show most.

    Parameters
    ----------
    counts : as `count_base_levels` gives them, of all parts of the area

    Returns
    -------
    list of BaseLevel; 0 m among them even where nothing was counted.
    """
    totals = {0.0: np.zeros(3, np.int64)}
    for count in counts:
        one = np.array([count.n_hills, count.n_hollows, count.n_necks])
        totals[count.offset_m] = totals.get(count.offset_m, 0) + one
    score = {offset: int(hills + hollows - necks) for offset, (hills, hollows, necks) in totals.items()}
    choices = [
        BaseLevel(offset, int(hills), int(hollows), int(necks), score[offset] - score[0.0])
        for offset, (hills, hollows, necks) in totals.items()
    ]
    return sorted(choices, key=lambda choice: (-choice.gain, abs(choice.offset_m), choice.offset_m))


def _count(surface: Heights, grid: Grid, offset_m: float, /, *, interval_m: float, core: Bounds | None) -> LevelCount:
    """Hills, hollows and unclear saddles drawn with this base level."""
    levels = contour_levels(surface, interval_m=interval_m, base_level_m=offset_m)
    lines, elevation_m = trace_contours(surface, grid, levels)
    closed = [line for line in lines if is_closed(line)]
    rings = list(itertools.compress(closed, are_large_enough(closed)))
    around_hill = enclose_higher(rings)
    hills = _innermost(list(itertools.compress(rings, around_hill)))
    hollows = _innermost(list(itertools.compress(rings, ~around_hill)))
    middle, _ = necks_between(lines, elevation_m, surface, grid, apart_m=CONTOURS_APART_M)
    # Places that nearly touch lie in clusters; one cluster is one saddle.
    necks = shapely.get_parts(shapely.union_all(shapely.buffer(shapely.points(middle), CONTOURS_APART_M)))
    n_necks = _n_in_core(necks, core) if len(middle) else 0
    return LevelCount(offset_m, _n_in_core(hills, core), _n_in_core(hollows, core), n_necks)


def _n_in_core(shapes: NDArray[np.object_], core: Bounds | None) -> int:
    """How many shapes have their middle in the core."""
    if core is None:
        return len(shapes)
    middles = shapely.get_coordinates(shapely.centroid(shapes))
    return int(((middles >= core[:2]) & (middles < core[2:])).all(axis=1).sum())


def _innermost(rings: list[EastNorth]) -> NDArray[np.object_]:
    """The rings that have no other ring inside, as areas."""
    areas = np.array([shapely.Polygon(ring) for ring in rings], dtype=object)
    # Rings of one surface do not cross, so that any vertex of a ring tells what it lies in.
    vertices = shapely.points([ring[0] for ring in rings]) if rings else []
    outer, inner = shapely.STRtree(vertices).query(areas, predicate="contains_properly")
    return np.delete(areas, np.unique(outer[outer != inner]))


def describe_base_levels(choices: list[BaseLevel], /, *, in_use_m: float, n_shown: int = 3) -> str:
    """What a mapper is told: the level in use, the best ones, and what the best would gain."""
    best = choices[0]
    used = min(choices, key=lambda choice: abs(choice.offset_m - in_use_m))
    lines = [f"Base level in use: {in_use_m:+.1f} m.", "Best choices:"]
    lines += [f"  {choice}" for choice in choices[:n_shown]]
    gain = best.gain - used.gain
    if gain > 0:
        lines.append(
            f"With expert.landform.base_level_m at {best.offset_m:g}, {gain} more hills, hollows and saddles show."
        )
    else:
        lines.append("No other base level shows more.")
    return "\n".join(lines) + "\n"
