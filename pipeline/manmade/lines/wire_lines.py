"""Power lines, cableways and lifts (510, 511) as straight lines along the middle of their wires."""

from __future__ import annotations

import math
from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree
from shapely.geometry import LineString

from pipeline.features import make_features, no_features
from pipeline.lattice.grid import EastNorth, Grid, Heights
from pipeline.lattice.larger_cells import larger_cells, sum_into
from pipeline.manmade.lines.joining import joined_over_gaps
from pipeline.manmade.tracks.network import merged, without_spurs
from pipeline.outlines.skeleton import skeleton_lines

WIRE_COUNTS = ("wire_returns", "wire_height_sum_dm")
"""Counts that wires are drawn from, see `pipeline.terrain.counts.wire_counts`."""
CELL_M = 1.0
"""Least cell in metres in which wires are looked at (our choice)."""
NEAR_M = 6.0
"""How far in metres around a cell the direction of its wire is told: the wires of a corridor are less apart than the
window is long (our choice)."""
ALONG_M, ASIDE_M = 25.0, 15.0
"""How far along and aside of a cell, in metres, wires are of the same line: the arms of a pylon reach 15 m (our
choice)."""
ROUNDS = 3
"""How often a cell is moved to the middle of the wires around it (our choice)."""
THICK_M = 3.0
"""Radius in metres of the discs about the moved cells whose union is thinned to the line (our choice)."""
STRAIGHT_M = 1.5
"""Most distance in metres of the moved cells from the straight line between two pylons: wires swing (our choice)."""
MOST_SPAN_M = 150.0
"""Longest gap in metres over which two pieces are one line: about a span between pylons over a wood (common practice,
no source). It must stay below the margin around a field."""
MOST_TURN_DEG = 12.0
"""Most degrees by which a piece may turn aside from one that it goes on from (our choice)."""
LEAST_M = 40.0
"""Length in metres of the shortest line that is drawn: no span of a power line is shorter (our choice)."""
MAJOR_HEIGHT_M, MAJOR_WIDTH_M = 20.0, 8.0
"""Mean height of the wires, and width of the bundle, from which a power line is a major one (511): pylons of lattice
steel carry arms on both sides (our choice)."""
PYLON_HUMP_M = 2.5
"""Height in metres by which wires hang higher at a pylon than in the middle of a span (our choice)."""
PYLON_AROUND_M = 30.0
"""How far in metres to both sides a pylon is the highest place of its wires (our choice)."""

Floats = NDArray[np.float64]


def draw_wires(counts: Mapping[str, Heights], grid: Grid, /) -> gpd.GeoDataFrame:
    """Power lines of the area (510, 511): a vertex, printed as a bar, stands at each pylon that was told.

    Which are cableways or lifts, lidar does not say: they are 510 too. The confidence is a guess, as no draft was
    compared with a map that has power lines.

    Parameters
    ----------
    counts : WIRE_COUNTS, (rows, cols) each
    """
    cells, times = larger_cells(grid, least_m=CELL_M)
    sums = sum_into({name: counts[name] for name in WIRE_COUNTS}, grid, cells, times)
    row, col = np.nonzero(sums["wire_returns"])
    if not len(row):
        return no_features(grid.crs)
    places = np.column_stack(((col + cells.west_col + 0.5), (cells.north_row - row - 0.5))) * cells.cell_m
    above_m = sums["wire_height_sum_dm"][row, col] / (10.0 * sums["wire_returns"][row, col])
    middle, width = _middles(places)
    pieces = _pieces(middle, cells)
    joined = joined_over_gaps(pieces, gap_m=MOST_SPAN_M, turn_deg=MOST_TURN_DEG, look_m=ALONG_M)
    lines = [LineString(shapely.simplify(line, 2 * STRAIGHT_M)) for line in joined if line.length >= LEAST_M]
    return _features(lines, middle, width, above_m.astype(np.float64), grid.crs)


def _middles(places: EastNorth) -> tuple[EastNorth, Floats]:
    """(k, 2) the middle of the wires of the line abreast of each cell, and (k,) how wide they hang there, metres."""
    tree = cKDTree(places)
    axis = _directions(places, tree)
    middle, width = places.copy(), np.zeros(len(places))
    for _ in range(ROUNDS):
        around = tree.query_ball_point(middle, math.hypot(ALONG_M, ASIDE_M))
        moved = middle.copy()
        for i, near in enumerate(around):
            step = places[near] - middle[i]
            along, aside = step @ axis[i], step @ (axis[i][1], -axis[i][0])
            inside = aside[(np.abs(along) <= ALONG_M) & (np.abs(aside) <= ASIDE_M)]
            if len(inside):
                low, high = inside.min(), inside.max()
                moved[i] += (low + high) / 2 * np.array((axis[i][1], -axis[i][0]))
                width[i] = high - low
        middle = moved
    return middle, width


def _directions(places: EastNorth, tree: cKDTree) -> EastNorth:
    """(k, 2) unit vectors along the wires: of near cells, averaged along the line with the angle doubled."""
    pairs = tree.query_pairs(NEAR_M, output_type="ndarray")
    step = places[pairs[:, 1]] - places[pairs[:, 0]]
    double = (step[:, 0] + 1j * step[:, 1]) ** 2 if len(pairs) else np.zeros(0, complex)
    total = np.zeros(len(places), complex)
    for end in (0, 1):
        for part, unit in ((double.real, 1), (double.imag, 1j)):
            total += unit * np.bincount(pairs[:, end], part, len(places))
    smooth = np.array([total[near].sum() for near in tree.query_ball_point(places, ALONG_M)])
    angle = np.angle(smooth) / 2
    return np.column_stack((np.cos(angle), np.sin(angle)))


def _pieces(middle: EastNorth, cells: Grid) -> list[LineString]:
    """Straight pieces between bends through the moved cells, each as far as cells go on."""
    reach = round(THICK_M / cells.cell_m)
    wide = cells.pad(2 * ASIDE_M)
    mask = np.zeros(wide.shape, np.bool_)
    index = wide.cell_index(middle[:, 0], middle[:, 1])
    mask.ravel()[index[index >= 0]] = True
    side = np.arange(-2 * reach, 2 * reach + 1)
    disc = side[:, None] ** 2 + side[None, :] ** 2 <= (2 * reach) ** 2
    thick = ndimage.binary_dilation(mask, disc)
    lines = [line for line in skeleton_lines(thick, wide, cut_at_corners=False) if line.length > 0]
    kept = [line for line in without_spurs(merged(lines)) if line.length >= LEAST_M / 2]
    return [LineString(shapely.simplify(line, STRAIGHT_M)) for line in kept]


def _features(lines: list[LineString], middle: EastNorth, width: Floats, above_m: Floats, crs: str) -> gpd.GeoDataFrame:
    """The lines with symbol, confidence and evidence, and a vertex at each pylon."""
    if not lines:
        return no_features(crs)
    tree = shapely.STRtree(lines)
    of_place, of_line = tree.query_nearest(shapely.points(middle), max_distance=2 * THICK_M, all_matches=False)
    drawn, heights, widths = [], [], []
    for number, line in enumerate(lines):
        mine = of_place[of_line == number]
        drawn.append(_with_pylons(line, middle[mine], above_m[mine]))
        heights.append(float(np.mean(above_m[mine])) if len(mine) else 0.0)
        widths.append(float(np.median(width[mine])) if len(mine) else 0.0)
    is_major = (np.array(heights) >= MAJOR_HEIGHT_M) | (np.array(widths) >= MAJOR_WIDTH_M)
    return make_features(
        drawn,
        crs=crs,
        symbol=["511" if major else "510" for major in is_major],
        confidence=np.clip(0.5 + np.array([line.length for line in drawn]) / 400, 0.05, 0.9),
        evidence=[
            f"wires on average {up:.0f} m above the ground, in a bundle {wide:.0f} m wide, along {line.length:.0f} m"
            for line, up, wide in zip(drawn, heights, widths, strict=True)
        ],
        height_m=heights,
        width_m=widths,
    )


def _with_pylons(line: LineString, middle: EastNorth, above_m: Floats) -> LineString:
    """The line with a vertex where its wires hang highest above the ground: at the pylons."""
    if not len(middle):
        return line
    at = shapely.line_locate_point(line, shapely.points(middle))
    station = np.round(at / 5.0).astype(np.int64)
    n = int(station.max()) + 1
    count = np.bincount(station, minlength=n)
    mean = np.where(count > 0, np.bincount(station, above_m, n) / np.maximum(count, 1), np.nan)
    reach = round(PYLON_AROUND_M / 5.0)
    humps = []
    for k in range(reach, n - reach):
        window = mean[k - reach : k + reach + 1]
        left, right = window[:reach], window[reach + 1 :]
        if not (np.isfinite(mean[k]) and np.isfinite(left).any() and np.isfinite(right).any()):
            continue
        lowest = max(np.nanmin(left), np.nanmin(right))
        if mean[k] >= np.nanmax(window) and mean[k] - lowest >= PYLON_HUMP_M:
            humps.append(k * 5.0)
    corners = shapely.line_locate_point(line, shapely.points(line.coords))
    # A bend is a pylon already.
    new = [hump for hump in humps if np.abs(corners - hump).min() > PYLON_AROUND_M / 2]
    places = np.sort(np.concatenate((corners, new)))
    return LineString(shapely.line_interpolate_point(line, places))
