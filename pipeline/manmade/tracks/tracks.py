"""Roads, tracks and paths (501 to 507) as features, from the bare earth and what pulses met above it.

In each cell and direction it is asked how far ground and growth look like a course that runs there (`evidence`): a
floor flatter across than the ground beside it, whether it is a bench, a cutting, a bank or a sunken lane (`bench`);
ground smoother than beside it; fewer plants near the ground, fewer above (`bare`). The best smooth curve through each
cell tells whether that goes on (`follow`). Its crests (`crests`) are bridged over short gaps by the cheapest course
(`links`), thinned to lines that share the vertices where they meet, and freed of spurs and scraps (`network`). Width,
evenness and gradient are measured on profiles across the lines (`sections`).
"""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
from scipy import ndimage
from shapely.geometry import LineString

from pipeline.features import make_features, no_features
from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.sampling import Numbers, mean_along
from pipeline.manmade.tracks.crests import crests
from pipeline.manmade.tracks.evidence import find_evidence
from pipeline.manmade.tracks.follow import follow, stands_out
from pipeline.manmade.tracks.kind import kind_of
from pipeline.manmade.tracks.links import bridges
from pipeline.manmade.tracks.network import network_lines, without_scraps
from pipeline.manmade.tracks.sections import cut_sections

GOES_ON = 0.95
"""Prominence down to which a crest goes on (fitted on `scene_a`, a block of real relief and half of a boreal km2)."""
IS_SURE = 1.25
"""Prominence that a crest must reach somewhere (fitted on the same)."""
LEAST_CREST_M = 25.0
"""Shortest crest (our choice)."""
MOST_BRIDGE_M = 40.0
"""Longest bridge, where the evidence along it is as usual around (our choice)."""


def draw_tracks(bare_earth: Heights, counts: Mapping[str, Heights], grid: Grid, /) -> gpd.GeoDataFrame:
    """Roads, tracks and paths of the area as features: a network of lines.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres, NaN where unknown
    counts : `pipeline.manmade.tracks.evidence.TRACK_COUNTS`, (rows, cols) each
    """
    if not np.isfinite(bare_earth).any():
        return no_features(grid.crs)
    evidence = find_evidence(bare_earth, counts, grid)
    mean, direction = follow(evidence)
    prominence = stands_out(mean, evidence.grid)
    cell_m = evidence.grid.cell_m
    chains = crests(prominence, direction, cell_m=cell_m, low=GOES_ON, high=IS_SURE, least_m=LEAST_CREST_M)
    linked = bridges(chains, prominence, cell_m=cell_m, most_cost=MOST_BRIDGE_M)
    lines = without_scraps(network_lines(chains | linked, evidence.grid))
    if not lines:
        return no_features(grid.crs)
    near = ndimage.binary_dilation(chains, np.ones((3, 3), bool))
    seen = mean_along(near.astype(np.float32), evidence.grid, [np.asarray(line.coords) for line in lines])
    shown = mean_along(prominence, evidence.grid, [np.asarray(line.coords) for line in lines])
    return _features(lines, seen, shown, fill_nearest(bare_earth), grid)


def _features(lines: list[LineString], seen: Numbers, shown: Numbers, heights: Heights, grid: Grid) -> gpd.GeoDataFrame:
    """The lines with symbol, confidence and evidence."""
    sections = [cut_sections(line, heights, grid) for line in lines]
    widths = np.array([float(np.median(cut.floor_m)) for cut in sections])
    steep = np.array([float(np.percentile(np.abs(cut.climb), 90)) for cut in sections])
    sure = np.clip((shown - GOES_ON) / (2 * (IS_SURE - GOES_ON)) * seen, 0.05, 0.9)
    return make_features(
        lines,
        crs=grid.crs,
        symbol=[kind_of(width, climb, certain) for width, climb, certain in zip(widths, steep, sure, strict=True)],
        confidence=sure,
        evidence=[_sentence(*one) for one in zip(shown, widths, steep, 1 - seen, strict=True)],
        width_m=widths,
    )


def _sentence(shown: float, width_m: float, climb: float, bridged: float) -> str:
    gap = f", {bridged:.0%} of it bridged over gaps" if bridged >= 0.05 else ""
    return f"{shown:.1f} times the usual evidence of a course, floor {width_m:.1f} m wide, climbs {climb:.0%}{gap}"
