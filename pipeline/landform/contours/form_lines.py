"""Form lines 103: shape that the contours miss."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from pipeline.features import make_features
from pipeline.landform.contours.generalise import NECK_PASSES, NECK_SHIFT_SHARE
from pipeline.landform.contours.isolines import contour_levels, trace_contours
from pipeline.landform.contours.legibility import Lines, stations
from pipeline.landform.contours.lines import encloses_higher, is_closed, ring_size_m, thin_vertices
from pipeline.landform.contours.necks import widen_necks
from pipeline.landform.contours.rings import CONTOUR_LINE_MM, MIN_CONTOUR_GAP_MM, MIN_HILL_MM, MIN_HOLLOW_MM
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.lattice.sampling import mean_along, sample
from pipeline.norm.paper import ground_m, sheet_ground_m
from pipeline.norm.symbols import isom
from pipeline.settings import LandformSettings

INDEX_LINE_MM = isom("102").mm("line_mm")
"""Width of an index contour (ISOM 102)."""
FORM_LINE_MM = isom("103").mm("line_mm")
"""Width of a form line (ISOM 103)."""
FORM_LINE_GAP_MM = 0.3
"""Room a form line needs beside a contour: steeper ground speaks for itself."""
FORM_LINE_REACH_M = 60.0
"""Distance beyond which a contour no longer tells a reader about the ground."""
FORM_LINE_STEP_M = 3.0
"""Distance of the places a form line is judged at."""
FORM_LINE_RING_SHARE = 0.5
"""A ring is drawn whole where this share of it is worth drawing: it cannot be drawn in pieces."""
FORM_LINE_BRIDGE_MM = 2.0
"""Interruptions drawn all the same: one dash (ISOM 103, from memory)."""
FORM_LINE_MIN_LENGTH_MM = isom("103").mm("min_length_mm")
"""Shortest open form line: two dashes of 2.0 and a gap of 0.2 (ISOM 103)."""
MIN_CLOSED_FORM_LINE_MM = 1.1
"""Length over all of the smallest closed form line (ISOM 103)."""
MIN_FORM_LINE_HEIGHT_M = isom("103").smallest.height_m
"""Least height or depth of a hill or hollow drawn with a form line (ISOM 103)."""


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

    def places_at(self, level_m: float, /, *, step_m: float) -> EastNorth:
        """(n, 2) float64 places along all contours of one level."""
        at_level = np.flatnonzero(np.abs(self.elevation_m - level_m) < 1e-6)
        return stations([self.lines[number] for number in at_level], step_m=step_m).places


@dataclass(frozen=True)
class Neighbours:
    """What a reader sees beside ground half way up: the contour below and the contour above.

    Attributes
    ----------
    below, above : KDTree
        Of places along them.
    reach_m : float
        Distance beyond which a contour tells a reader nothing.
    """

    below: cKDTree
    above: cKDTree
    reach_m: float

    @classmethod
    def of(
        cls, level_m: float, contours: Contours, /, *, interval_m: float, reach_m: float, step_m: float
    ) -> Neighbours:
        """The neighbours of one level half way between two contours."""
        trees = [
            cKDTree(contours.places_at(level_m + side * interval_m / 2, step_m=step_m).reshape(-1, 2))
            for side in (-1, 1)
        ]
        return cls(trees[0], trees[1], reach_m)

    def away_m(self, places: EastNorth, /) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(n,) metres to the contour below and to the one above, at most the reach."""
        below, above = (
            np.minimum(tree.query(places, distance_upper_bound=self.reach_m)[0], self.reach_m)
            for tree in (self.below, self.above)
        )
        return below, above


def reader_error_m(
    places: EastNorth, edge_m: NDArray[np.float64], neighbours: Neighbours, /, *, interval_m: float, closed: bool
) -> NDArray[np.float64]:
    """(n,) how wrong the ground is that a reader imagines at places half way up between two contours.

    A reader sees the ground rise evenly from the contour below to the one above: at places of half height both should
    be equally far. Beyond the last contour, on a top or in a hollow, the reader expects level ground. Nothing is said
    about places whose next contour may lie beyond the edge of what is known, `edge_m` away; nor about open lines so far
    from both contours that only a smaller interval would help. 0 to half an interval.
    """
    below, above = neighbours.away_m(places)
    error = interval_m * np.abs(below / np.maximum(below + above, 1e-9) - 0.5)
    alone = (below >= neighbours.reach_m) & (above >= neighbours.reach_m)
    error = np.where(alone, interval_m / 2 if closed else 0.0, error)
    return np.asarray(np.where((below > edge_m) | (above > edge_m), 0.0, error))


def worth_drawing(
    error_m: NDArray[np.float64], away_m: NDArray[np.float64], /, *, min_error_m: float, min_away_m: float
) -> Mask:
    """(n,) bool: stations along a line where a form line tells what the contours do not, and has room."""
    return np.asarray((error_m >= min_error_m) & (away_m >= min_away_m))


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


def _form_lines_of(
    line: EastNorth,
    to_edge: Heights,
    grid: Grid,
    neighbours: Neighbours,
    /,
    *,
    interval_m: float,
    settings: LandformSettings,
) -> list[tuple[EastNorth, float]]:
    """The parts of one half-way line worth drawing, and the mean error each takes from the reader."""
    if len(line) < 4:
        return []
    step_m = FORM_LINE_STEP_M
    at = stations([shapely.LineString(line)], step_m=step_m)
    edge_m = np.nan_to_num(sample(to_edge, grid, at.places))
    error_m = reader_error_m(at.places, edge_m, neighbours, interval_m=interval_m, closed=is_closed(line))
    away_m = np.minimum(*neighbours.away_m(at.places))
    clear_m = ground_m(MIN_CONTOUR_GAP_MM + (INDEX_LINE_MM + FORM_LINE_MM) / 2)
    worth = worth_drawing(
        error_m,
        away_m,
        min_error_m=settings.form_line_min_error_share * interval_m,
        min_away_m=max(clear_m, ground_m(FORM_LINE_GAP_MM)),
    )
    # A ring is drawn whole or not as one: it must keep off the contours all around.
    if is_closed(line) and worth.mean() >= FORM_LINE_RING_SHARE and away_m.min() >= clear_m:
        return [(line, float(error_m.mean()))] if _is_drawable_ring(line) else []
    pieces = pieces_of(
        worth,
        away_m >= clear_m,
        step_m,
        bridge_m=ground_m(FORM_LINE_BRIDGE_MM),
        min_length_m=ground_m(FORM_LINE_MIN_LENGTH_MM),
    )
    return [(at.places[piece], float(error_m[piece].mean())) for piece in pieces]


def _is_drawable_ring(ring: EastNorth, /) -> bool:
    """Whether a closed form line reaches the standard's least size."""
    length_m, width_m = ring_size_m(ring)
    least_m = ground_m(MIN_CLOSED_FORM_LINE_MM - FORM_LINE_MM)
    least_width_mm = MIN_HILL_MM[1] if encloses_higher(ring) else MIN_HOLLOW_MM[1]
    return length_m >= least_m and width_m >= ground_m(least_width_mm - FORM_LINE_MM)


def _find_form_lines(
    surface: Heights, grid: Grid, contours: Contours, /, *, interval_m: float, settings: LandformSettings
) -> list[tuple[EastNorth, float, float]]:
    """Every form line with its elevation and the mean error it takes from the reader."""
    half_way_m = settings.base_level_m + interval_m / 2
    known = np.pad(np.isfinite(surface), 1)
    to_edge = (ndimage.distance_transform_edt(known)[1:-1, 1:-1] * grid.cell_m).astype(np.float32)
    levels = contour_levels(surface, interval_m=interval_m, base_level_m=half_way_m)
    # Moved by less than half an interval, half-way lines cannot reach a contour.
    parted = widen_necks(
        surface,
        surface,
        grid,
        levels,
        apart_m=ground_m(MIN_CONTOUR_GAP_MM + CONTOUR_LINE_MM),
        max_off_m=NECK_SHIFT_SHARE * interval_m,
        passes=NECK_PASSES,
    )
    found: list[tuple[EastNorth, float, float]] = []
    for level in levels:
        neighbours = Neighbours.of(
            float(level),
            contours,
            interval_m=interval_m,
            reach_m=FORM_LINE_REACH_M,
            step_m=FORM_LINE_STEP_M,
        )
        for line in trace_contours(parted, grid, np.array([level]))[0]:
            pieces = _form_lines_of(line, to_edge, grid, neighbours, interval_m=interval_m, settings=settings)
            found += [
                (piece, float(level), error)
                for piece, error in pieces
                if not is_closed(piece) or _is_high_enough(surface, grid, piece)
            ]
    return found


def draft_form_lines(
    surface: Heights,
    surface_grid: Grid,
    contours: Contours,
    seen: Heights,
    grid: Grid,
    /,
    *,
    interval_m: float,
    scale: int,
    settings: LandformSettings,
) -> gpd.GeoDataFrame:
    """Form lines half way between contours, only where a reader of the contours would be wrong about the ground.

    At most one lies between two contours, since all are at half height; a closed one must be a hill or a hollow of at
    least the standard's height.

    Parameters
    ----------
    surface, surface_grid
        The surface the contours were traced on.

    Returns
    -------
    GeoDataFrame of 103 with `elevation_m`, higher ground on the left.
    """
    found = _find_form_lines(surface, surface_grid, contours, interval_m=interval_m, settings=settings)
    lines, level_m, error_m = [line for line, _, _ in found], [at for _, at, _ in found], [off for _, _, off in found]
    spacing_m = sheet_ground_m(settings.vertex_spacing_mm, scale=scale)
    thin = [thin_vertices(line, spacing_m=spacing_m) for line in lines]
    gain = np.array(error_m) / (interval_m / 2) if error_m else np.empty(0)
    return make_features(
        [shapely.LineString(line) for line in thin],
        crs=grid.crs,
        symbol="103",
        confidence=np.clip(mean_along(seen, grid, thin) * (0.4 + 0.5 * gain), 0, 1),
        evidence=[
            f"at {height:g} m; without it the ground reads {error:.1f} m wrong here"
            for height, error in zip(level_m, error_m, strict=True)
        ],
        elevation_m=np.array(level_m, np.float64),
    )


def _is_high_enough(surface: Heights, grid: Grid, ring: EastNorth, /) -> bool:
    """Whether the hill or hollow in a ring stands out by the standard's height before it joins a higher or deeper one.

    Cut off one such height below its top, the hill must be an island: clear of anything higher, of the edge of what is
    known, and of ground that goes on level.
    """
    margin = int(np.ceil(FORM_LINE_REACH_M / grid.cell_m))
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
    above, _ = ndimage.label(~(heights < heights.flat[top] - MIN_FORM_LINE_HEIGHT_M))
    hill = above == above.flat[top]
    touches_rim = hill[[0, -1]].any() or hill[:, [0, -1]].any()
    return bool(not touches_rim and np.nan_to_num(heights[hill], nan=np.inf).max() <= heights.flat[top])
