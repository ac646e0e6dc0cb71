"""Terrace walls and retaining walls (513) from the bare earth: thin steps that go on and come in rows."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from shapely.geometry import LineString

from pipeline.features import make_features, no_features
from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.larger_cells import larger_cells, mean_into
from pipeline.lattice.sampling import Numbers, mean_along
from pipeline.manmade.lines.company import FARTHEST_M, company
from pipeline.manmade.lines.joining import joined_over_gaps
from pipeline.manmade.lines.steps import find_steps
from pipeline.manmade.tracks.crests import crests
from pipeline.manmade.tracks.network import merged
from pipeline.norm.symbols import isom
from pipeline.outlines.skeleton import rounded, skeleton_lines

CELL_M = 0.5
"""Least cell in metres in which walls are looked for: half of what a wall is wide (our choice)."""
GOES_ON_M, IS_SURE_M = 0.4, 0.7
"""Metres of step down to which a line of steps goes on, and that it must reach somewhere (fitted on the blocks 3506_0
and 3507_0 of `dtm_walls`)."""
LEAST_CREST_M = 8.0
"""Shortest line of steps that is looked at (our choice)."""
LEAST_COMPANY = 0.5
"""Least share of a line that has two others beside it (fitted on the same)."""
STRETCH_M, LEAST_STRAIGHT = 12.0, 0.93
"""Length in metres of stretches of a line, and least mean ratio of their chord to their way: people build along
smooth lines, ledges of rock wind (fitted on the same)."""
LEAST_FIELD_M = 250.0
"""Least length in metres of all walls of a terraced slope (fitted on all eight blocks: rock has up to 160 m)."""
MOST_CELL_M = 0.75
"""Widest cell in metres in which walls are told from banks: in cells of 1 m roads in a slope look the same (measured on
the same)."""
JOIN_M = 8.0
"""Longest gap in metres between ends that are one wall (our choice)."""
JOIN_TURN_DEG = 30.0
"""Most degrees by which a wall turns over a gap (our choice)."""
LOOK_M = 5.0
"""Length in metres at the end of a piece over which its direction is told (our choice)."""


def draw_walls(bare_earth: Heights, grid: Grid, /) -> gpd.GeoDataFrame:
    """Terrace walls of the area (513).

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres, NaN where unknown
    """
    cells, times = larger_cells(grid, least_m=CELL_M)
    known = mean_into(bare_earth, grid, cells, times)
    if cells.cell_m > MOST_CELL_M or not np.isfinite(known).any():
        return no_features(grid.crs)
    found, along = find_steps(fill_nearest(known).astype(np.float32), cell_m=cells.cell_m)
    step = np.where(np.isfinite(known), found, np.float32(0))
    chains = crests(step, along, cell_m=cells.cell_m, low=GOES_ON_M, high=IS_SURE_M, least_m=LEAST_CREST_M)
    lines = [line for line in chain_lines(chains, cells) if line.length >= LEAST_CREST_M / 2]
    together = company(lines)
    chosen = [line for line, share in zip(lines, together, strict=True) if share >= LEAST_COMPANY]
    chosen = joined_over_gaps(chosen, gap_m=JOIN_M, turn_deg=JOIN_TURN_DEG, look_m=LOOK_M)
    least_m = isom("513").smallest.length_m or 0.0
    long = [line for line in chosen if line.length >= least_m and straightness(line) >= LEAST_STRAIGHT]
    walls = _in_fields(long)
    heights = mean_along(step, cells, [np.asarray(line.coords) for line in walls])
    return _features(walls, heights, grid.crs)


def chain_lines(chains: Mask, cells: Grid, /) -> list[LineString]:
    """Smoothed lines through chains of cells, cut where they fork."""
    thick = ndimage.binary_closing(np.pad(chains, 2), np.ones((3, 3), bool))[2:-2, 2:-2] | chains
    lines = merged([line for line in skeleton_lines(thick, cells, cut_at_corners=False) if line.length > 2])
    return [LineString(rounded(shapely.get_coordinates(line))) for line in lines]


def straightness(line: LineString, /) -> float:
    """Mean ratio of chord to way of the stretches of a line, each `STRETCH_M` long: 1 where it is straight there."""
    at = np.arange(0.0, max(line.length - STRETCH_M, 0.0) + 0.1, STRETCH_M / 4)
    places = shapely.get_coordinates(shapely.line_interpolate_point(line, np.append(at, at + STRETCH_M)))
    chord = places[len(at) :] - places[: len(at)]
    return float(np.mean(np.hypot(chord[:, 0], chord[:, 1]))) / min(STRETCH_M, line.length)


def _in_fields(lines: list[LineString]) -> list[LineString]:
    """Lines that lie near others, with some length in all: a few steps in a row are ledges."""
    if not lines:
        return []
    one, other = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=FARTHEST_M)
    links = coo_array((np.ones(len(one)), (one, other)), shape=(len(lines), len(lines)))
    _, field = connected_components(links, directed=False)
    total = np.bincount(field, [line.length for line in lines])
    return [line for line, number in zip(lines, field, strict=True) if total[number] >= LEAST_FIELD_M]


def _features(walls: list[LineString], heights: Numbers, crs: str) -> gpd.GeoDataFrame:
    """The walls with confidence and evidence."""
    if not walls:
        return no_features(crs)
    return make_features(
        walls,
        crs=crs,
        symbol="513",
        confidence=np.clip(heights / 2, 0.05, 0.8),
        evidence=[f"one of a row of thin steps in the ground, {step:.1f} m high" for step in heights],
        height_m=heights,
    )
