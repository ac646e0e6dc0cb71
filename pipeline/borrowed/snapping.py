"""Courses of lines from other maps moved to where lidar shows the same thing.

A line on another map commonly runs 1 to 5 m beside the thing itself (GPS under trees, images that are not quite
upright). Where a line of the same family that lidar shows runs along it, each place of it moves to that line; between
such places it moves by what its neighbours do, so that it keeps its shape and its junctions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString

from pipeline.lattice.grid import EastNorth, Mask

REACH_M = 8.0
"""How far beside a borrowed line, in metres, the same thing may lie: lines of roads are commonly 1 to 5 m off, and
under trees a GPS strays by up to twice that (common practice, no source)."""
STEP_M = 4.0
"""Distance in metres between the places of a line that are looked at. Our choice."""
MAX_TURN_DEG = 35.0
"""Largest angle between the two lines at one place: a path that branches off is another one. Our choice."""
FADE_M = 60.0
"""Distance along the line, in metres, over which a shift dies away beyond the last place that shows it. Our choice."""
SMOOTH_M = 12.0
"""Length in metres over which neighbouring shifts are averaged, so that no kink is made. Our choice."""
MIN_STEP_RATIO = 0.25
"""Tolerance of simplifying the moved line again, as a share of a metre: finer than print shows."""


@dataclass(frozen=True)
class Snapped:
    """Lines after the move.

    Attributes
    ----------
    lines : (n,) LineString
    shown_ratio : (n,) share of each line's length along which lidar shows it, 0 to 1
    moved_m : (n,) mean distance in metres that the places of each line moved, where lidar shows it; 0 where nowhere
    """

    lines: NDArray[np.object_]
    shown_ratio: NDArray[np.float64]
    moved_m: NDArray[np.float64]


def snap_lines(borrowed: NDArray[np.object_], found: NDArray[np.object_], /) -> Snapped:
    """Borrowed lines moved to the course of found ones of the same family, where these run along them.

    Parameters
    ----------
    borrowed, found : (n,), (k,) LineStrings in metres
    """
    lines = borrowed.copy()
    shown_ratio, moved_m = np.zeros(len(lines)), np.zeros(len(lines))
    if not len(lines) or not len(found):
        return Snapped(lines, shown_ratio, moved_m)
    places, line_of = shapely.get_coordinates(shapely.segmentize(borrowed, STEP_M), return_index=True)
    shift, is_shown = _shifts(places, line_of, found)
    first = np.searchsorted(line_of, np.arange(len(lines) + 1))
    for i in np.unique(line_of[is_shown]):
        own = slice(first[i], first[i + 1])
        shown_ratio[i] = is_shown[own].mean()
        moved_m[i] = float(np.hypot(*shift[own][is_shown[own]].T).mean())
        spread = _spread(shift[own], is_shown[own], _along(places[own]), is_ring=borrowed[i].is_closed)
        lines[i] = shapely.simplify(LineString(places[own] + spread), MIN_STEP_RATIO)
    return Snapped(lines, shown_ratio, moved_m)


def _along(places: EastNorth) -> NDArray[np.float64]:
    """(m,) metres from the line's beginning."""
    return np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))))


def _shifts(places: EastNorth, line_of: NDArray[np.intp], found: NDArray[np.object_]) -> tuple[EastNorth, Mask]:
    """(m, 2) way from each place to the nearest found line, and whether that line runs there and along this one."""
    tree = shapely.STRtree(found)
    place, nearest = tree.query_nearest(shapely.points(places), max_distance=REACH_M, all_matches=False)
    line, point = found[nearest], shapely.points(places[place])
    at_m = shapely.line_locate_point(line, point)
    way = shapely.get_coordinates(shapely.line_interpolate_point(line, at_m)) - places[place]
    # Beyond the end of a found line its last point is the nearest to many places: it shows nothing there.
    is_beside = ((at_m > 0) & (at_m < shapely.length(line))) | (np.hypot(*way.T) < STEP_M)
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(line, at_m + STEP_M))
    behind = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(at_m - STEP_M, 0.0)))
    is_along = _turn_deg(_directions(places, line_of)[place], ahead - behind) <= MAX_TURN_DEG
    shift, is_shown = np.zeros_like(places), np.zeros(len(places), np.bool_)
    shift[place], is_shown[place] = way, is_beside & is_along
    return shift, is_shown


def _directions(places: EastNorth, line_of: NDArray[np.intp]) -> EastNorth:
    """(m, 2) way from the place before to the one behind, within its own line."""
    before = np.maximum(np.arange(len(places)) - 1, 0)
    behind = np.minimum(np.arange(len(places)) + 1, len(places) - 1)
    before = np.where(line_of[before] == line_of, before, np.arange(len(places)))
    behind = np.where(line_of[behind] == line_of, behind, np.arange(len(places)))
    ways: EastNorth = places[behind] - places[before]
    return ways


def _turn_deg(first: EastNorth, second: EastNorth) -> NDArray[np.float64]:
    """(m,) angle between two directions, 0 to 90 degrees, whichever way they are drawn."""
    product = np.abs((first * second).sum(axis=1))
    size = np.hypot(*first.T) * np.hypot(*second.T)
    angle: NDArray[np.float64] = np.degrees(np.arccos(np.clip(product / np.maximum(size, 1e-9), 0.0, 1.0)))
    return angle


def _spread(shift: EastNorth, is_shown: Mask, along_m: NDArray[np.float64], *, is_ring: bool) -> EastNorth:
    """(m, 2) shift of every place: interpolated between those that are shown, fading out beyond them, smoothed."""
    known_m = along_m[is_shown]
    even_m = np.linspace(0.0, along_m[-1], 1 + int(np.ceil(along_m[-1])))
    between = np.column_stack([np.interp(even_m, known_m, shift[is_shown, axis]) for axis in (0, 1)])
    after = np.clip(np.searchsorted(known_m, even_m), 1, max(1, len(known_m) - 1))
    sides = known_m[np.column_stack((after - 1, np.minimum(after, len(known_m) - 1)))]
    gap_m = np.abs(sides - even_m[:, None]).min(axis=1)
    faded = between * np.clip(1.0 - gap_m / FADE_M, 0.0, 1.0)[:, None]
    smooth = ndimage.gaussian_filter1d(faded, SMOOTH_M / 2, axis=0, mode="nearest")
    spread: EastNorth = np.column_stack([np.interp(along_m, even_m, smooth[:, axis]) for axis in (0, 1)])
    if is_ring:  # the first place is the last one too
        spread[0] = spread[-1] = (spread[0] + spread[-1]) / 2
    return spread
