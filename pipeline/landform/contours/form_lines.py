"""Form lines 103: shape that the contours miss."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from pipeline.features import make_features
from pipeline.landform.contours.isolines import contour_levels, trace_contours
from pipeline.landform.contours.legibility import Lines, stations, stations_along
from pipeline.landform.contours.limits import ALLOWED_SHIFT_SHARE, CONTOURS_APART_M
from pipeline.landform.contours.necks import widen_necks
from pipeline.landform.contours.rings import large_enough
from pipeline.landform.lines.lines import encloses_higher, is_closed, thin_vertices
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.lattice.sampling import sample
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom

READER_REACH_M = 60.0
"""Distance beyond which a contour no longer tells a reader about the ground, in metres on the ground (our choice)."""
STATION_STEP_M = 3.0
"""Spacing of the places at which a line is judged; far below the shortest line that is drawn (our choice)."""


@dataclass(frozen=True)
class Contours:
    """The contours form lines go between.

    Attributes
    ----------
    lines : list of n LineStrings
    elevation_m : (n,) float64
    """

    lines: Lines
    elevation_m: NDArray[np.float64]


@dataclass(frozen=True)
class Beside:
    """What a reader sees beside places half way up: the contour below and the contour above.

    Attributes
    ----------
    below_m, above_m : (n,) float64
        Metres to them, at most `READER_REACH_M`.
    """

    below_m: NDArray[np.float64]
    above_m: NDArray[np.float64]

    @classmethod
    def of(
        cls,
        places: EastNorth,
        level_m: NDArray[np.float64],
        contours: Contours,
        /,
        *,
        interval_m: float,
        base_level_m: float,
    ) -> Beside:
        """What lies beside places, each on a line of its own level half way between two contours."""
        at = stations(contours.lines, step_m=STATION_STEP_M)
        number = np.round((contours.elevation_m[at.line] - base_level_m) / interval_m * 2).astype(np.int64)
        trees = {int(of_level): cKDTree(at.places[number == of_level]) for of_level in np.unique(number)}
        away_m = np.full((2, len(places)), READER_REACH_M)
        own_number = np.round((level_m - base_level_m) / interval_m * 2).astype(np.int64)
        for of_level in np.unique(own_number):
            own = np.flatnonzero(own_number == of_level)
            for side in (0, 1):
                if (tree := trees.get(int(of_level) + 2 * side - 1)) is not None:
                    found, _ = tree.query(places[own], distance_upper_bound=READER_REACH_M)
                    away_m[side, own] = np.minimum(found, READER_REACH_M)
        return cls(*away_m)

    def where(self, chosen: Mask | slice, /) -> Beside:
        """What lies beside the chosen places."""
        return Beside(self.below_m[chosen], self.above_m[chosen])

    @property
    def nearest_m(self) -> NDArray[np.float64]:
        """(n,) metres to the nearer contour of the two."""
        return np.minimum(self.below_m, self.above_m)


def reader_error_m(
    beside: Beside, edge_m: NDArray[np.float64], /, *, interval_m: float, closed: Mask
) -> NDArray[np.float64]:
    """(n,) how wrong the ground is that a reader imagines at places half way up between two contours.

    A reader sees the ground rise evenly from the contour below to the one above: at places of half height both should
    be equally far. Beyond the last contour, on a top or in a hollow, the reader expects level ground. Nothing is said
    about places whose next contour may lie beyond the edge of what is known, `edge_m` away; nor about open lines (not
    `closed`) so far from both contours that only a smaller interval would help. 0 to half an interval.
    """
    below, above = beside.below_m, beside.above_m
    error = interval_m * np.abs(below / np.maximum(below + above, 1e-9) - 0.5)
    alone = (below >= READER_REACH_M) & (above >= READER_REACH_M)
    error = np.where(alone, np.where(closed, interval_m / 2, 0.0), error)
    return np.asarray(np.where((below > edge_m) | (above > edge_m), 0.0, error))


def pieces_of(worth: Mask, free: Mask, step_m: float, /, *, bridge_m: float, min_length_m: float) -> list[slice]:
    """Runs of stations to draw: short interruptions bridged where they are free, short runs dropped.

    Parameters
    ----------
    worth, free : (n,) bool
        Where a line is worth drawing, and where it would have room.
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], worth.astype(np.int8), [0]])))
    runs = [(int(start), int(end)) for start, end in edges.reshape(-1, 2)]
    joined: list[tuple[int, int]] = []
    for start, end in runs:
        last = joined[-1][1] if joined else start
        if joined and (start - last) * step_m <= bridge_m and free[last:start].all():
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return [slice(start, end) for start, end in joined if (end - start - 1) * step_m >= min_length_m]


CLEAR_OF_CONTOURS_M = ground_m(
    isom("103").mm("min_gap_mm") + (isom("102").mm("line_mm") + isom("103").mm("line_mm")) / 2
)
"""Least distance on the ground between the middles of a form line and of a contour, which may be an index contour."""
RING_WORTH_SHARE = 0.5
"""Share of a closed form line that must be worth drawing for the whole to be drawn; it cannot be drawn in pieces (our
choice)."""
WHOLE_RING_M = 100.0
"""Length and width, in metres, up to which a closed line is looked at as a whole. A field and its margin hold such a
ring; of a larger one each stretch is looked at by itself (our choice)."""


def is_whole_ring(line: EastNorth, /) -> bool:
    """Whether a line is closed and small enough to be looked at as a whole."""
    return is_closed(line) and bool((np.ptp(line, axis=0) <= WHOLE_RING_M).all())


@dataclass(frozen=True)
class HalfWay:
    """Lines worth drawing half way between contours, and what each place of them takes from a reader's error.

    Attributes
    ----------
    lines : list of n (k, 2) float64
    level_m : (n,) float64
    places : (m, 2) float64
    error_m : (m,) float64
    """

    lines: list[EastNorth]
    level_m: NDArray[np.float64]
    places: EastNorth
    error_m: NDArray[np.float64]


def _form_lines_of(
    line: EastNorth,
    places: EastNorth,
    error_m: NDArray[np.float64],
    is_free: Mask,
    /,
    *,
    min_error_m: float,
) -> list[tuple[EastNorth, EastNorth, NDArray[np.float64]]]:
    """The parts of one half-way line worth drawing, and places with the error each takes from the reader.

    Parameters
    ----------
    places : (n, 2) float64
        Stations along the line.
    error_m, is_free : (n,)
        The reader's error at each, and whether it is clear of the contours.
    """
    worth = is_free & (error_m >= min_error_m)
    # A ring is drawn whole or not as one: it must keep off the contours all around.
    if is_whole_ring(line) and worth.mean() >= RING_WORTH_SHARE and is_free.all():
        return [(line, places, error_m)] if large_enough(line, symbol="103") else []
    if is_closed(line):
        if worth.all():
            return [(line, places, error_m)]
        # Begun where nothing is drawn, so that no run of stations is cut where the ring happens to begin.
        first = _longest_gap(worth)
        places = np.roll(places[:-1], -first, axis=0)
        error_m = np.roll(error_m[:-1], -first)
        worth, is_free = np.roll(worth[:-1], -first), np.roll(is_free[:-1], -first)
    pieces = pieces_of(
        worth,
        is_free,
        STATION_STEP_M,
        # An interruption as short as one dash would not be seen.
        bridge_m=isom("103").ground_m("dash_mm"),
        min_length_m=isom("103").smallest.length_m,
    )
    return [(places[piece], places[piece], error_m[piece]) for piece in pieces]


def _longest_gap(worth: Mask, /) -> int:
    """The middle of the longest run of stations of a ring that are not worth drawing; its last station is its first."""
    idle = np.flatnonzero(~worth[:-1])
    n = len(worth) - 1
    # From each run of worthless stations to the next; runs are parted by the stations worth drawing.
    run = np.cumsum(np.diff(idle, prepend=idle[0]) != 1)
    if idle[0] == 0 and idle[-1] == n - 1:
        run[run == run[-1]] = run[0]
    longest = np.flatnonzero(run == np.bincount(run).argmax())
    return int(idle[longest[len(longest) // 2]])


def find_form_lines(
    surface: Heights, grid: Grid, contours: Contours, /, *, interval_m: float, base_level_m: float, min_error_m: float
) -> HalfWay:
    """Every form line with its elevation and the error its places take from the reader."""
    half_way_m = base_level_m + interval_m / 2
    known = np.pad(np.isfinite(surface), 1)
    to_edge = (ndimage.distance_transform_edt(known)[1:-1, 1:-1] * grid.cell_m).astype(np.float32)
    levels = contour_levels(surface, interval_m=interval_m, base_level_m=half_way_m)
    # Moved by less than half an interval, half-way lines cannot reach a contour.
    parted = widen_necks(
        surface,
        surface,
        grid,
        levels,
        apart_m=CONTOURS_APART_M,
        max_off_m=ALLOWED_SHIFT_SHARE * interval_m,
    )
    traced, traced_at_m = trace_contours(parted, grid, levels)
    long_enough = np.array([len(line) >= 4 for line in traced], bool)
    traced, traced_at_m = list(itertools.compress(traced, long_enough)), traced_at_m[long_enough]
    at = stations_along(traced, step_m=STATION_STEP_M)
    beside = Beside.of(at.places, traced_at_m[at.line], contours, interval_m=interval_m, base_level_m=base_level_m)
    whole = np.array([is_whole_ring(line) for line in traced], bool)[at.line]
    edge_m = np.nan_to_num(sample(to_edge, grid, at.places))
    error_m = reader_error_m(beside, edge_m, interval_m=interval_m, closed=whole)
    is_free = beside.nearest_m >= CLEAR_OF_CONTOURS_M
    ends = np.searchsorted(at.line, np.arange(len(traced) + 1))
    found = [
        (float(level_m), *part)
        for number, (line, level_m) in enumerate(zip(traced, traced_at_m, strict=True))
        for own in [slice(ends[number], ends[number + 1])]
        for part in _form_lines_of(line, at.places[own], error_m[own], is_free[own], min_error_m=min_error_m)
    ]
    drawn = [part for part in found if not is_whole_ring(part[1]) or _is_high_enough(surface, grid, part[1])]
    return HalfWay(
        [line for _, line, _, _ in drawn],
        np.array([level_m for level_m, _, _, _ in drawn], np.float64),
        np.concatenate([np.empty((0, 2)), *(places for _, _, places, _ in drawn)]),
        np.concatenate([np.empty(0), *(error for _, _, _, error in drawn)]),
    )


def draft_form_lines(
    surface: Heights,
    grid: Grid,
    contours: Contours,
    /,
    *,
    interval_m: float,
    base_level_m: float,
    min_error_m: float,
    vertex_spacing_m: float,
) -> tuple[gpd.GeoDataFrame, HalfWay]:
    """Form lines half way between contours, only where a reader of the contours would be wrong about the ground.

    At most one lies between two contours, since all are at half height; a closed one must be a hill or a hollow of at
    least the standard's height.

    Parameters
    ----------
    surface, grid
        The surface the contours were traced on.
    base_level_m : float
        Elevation one contour takes.
    min_error_m : float
        How wrong about the height of the ground a reader must be for a form line to be drawn.
    vertex_spacing_m : float
        Least distance on the ground between two vertices of a line.

    Returns
    -------
    GeoDataFrame of 103 with `elevation_m`, higher ground on the left, whose confidence and evidence are still to be
    told; and the errors they take from a reader.
    """
    found = find_form_lines(
        surface, grid, contours, interval_m=interval_m, base_level_m=base_level_m, min_error_m=min_error_m
    )
    lines = make_features(
        [shapely.LineString(line) for line in thin_vertices(found.lines, spacing_m=vertex_spacing_m)],
        crs=grid.crs,
        symbol="103",
        confidence=0.0,
        evidence="",
        elevation_m=found.level_m,
    )
    return lines, found


def _is_high_enough(surface: Heights, grid: Grid, ring: EastNorth, /) -> bool:
    """Whether the hill or hollow in a ring stands out by the standard's height before it joins a higher or deeper one.

    Cut off one such height below its top, the hill must be an island: clear of anything higher, of the edge of what is
    known, and of ground that goes on level.
    """
    margin = int(np.ceil(READER_REACH_M / grid.cell_m))
    window = grid.window_around((*ring.min(axis=0), *ring.max(axis=0)), margin_cells=margin)
    upward = 1.0 if encloses_higher(ring) else -1.0
    heights = upward * surface[window]
    east, north = grid.centres()
    east_at, north_at = np.meshgrid(east[window[1]], north[window[0]])
    inside = shapely.contains_xy(shapely.Polygon(ring), east_at, north_at)
    if not inside.any():
        return False
    top = np.where(inside & np.isfinite(heights), heights, -np.inf).argmax()
    # Unknown ground counts as high: nothing is claimed about a hill that runs into it.
    above, _ = ndimage.label(~(heights < heights.flat[top] - isom("103").smallest.height_m))
    hill = above == above.flat[top]
    touches_rim = hill[[0, -1]].any() or hill[:, [0, -1]].any()
    return bool(not touches_rim and np.nan_to_num(heights[hill], nan=np.inf).max() <= heights.flat[top])
