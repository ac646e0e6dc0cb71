"""Roads, tracks and paths (501 to 507) as features, from the bare earth and what pulses met above it.

In each cell and direction it is asked how far ground and growth look like a course that runs there (`evidence`): a
floor flatter across than the ground beside it, whether it is a bench, a cutting, a bank or a sunken lane (`bench`);
ground smoother than beside it, and more even along the course; fewer plants near the ground, fewer above (`bare`). The
best smooth curve through each cell tells whether that goes on (`follow`). Its crests (`crests`) are bridged over short
gaps by the cheapest course (`links`), thinned to lines that share the vertices where they meet, and freed of spurs and
scraps (`network`). Width, evenness and gradient are measured on profiles across the lines (`sections`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString

from pipeline.features import make_features, no_features
from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.sampling import Numbers, sample
from pipeline.lattice.windows import highest_around
from pipeline.manmade.tracks.crests import crests
from pipeline.manmade.tracks.evidence import STEPS, Evidence, Strength, find_evidence
from pipeline.manmade.tracks.follow import follow, stands_out, usual_around
from pipeline.manmade.tracks.judging import Shown, kept, likelihood
from pipeline.manmade.tracks.kind import kind_of
from pipeline.manmade.tracks.links import bridges
from pipeline.manmade.tracks.network import network_lines, without_scraps, without_spurs
from pipeline.manmade.tracks.sections import HALF_M, Sections, cut_sections

SAME_BED_M = 5.0
"""Distance from a watercourse within which a line runs in its bed: a stream and its banks (our choice)."""
MOST_SURE = 0.9
"""Greatest confidence: none has been looked at on foot."""
GOES_ON = 0.75
"""Prominence down to which a crest goes on (fitted on `scene_a`, a block of real relief and half of a boreal km2)."""
IS_SURE = 1.0
"""Prominence that a crest must reach somewhere (fitted on the same)."""
LEAST_CREST_M = 25.0
"""Shortest crest (our choice)."""
MOST_BRIDGE_M = 45.0
"""Longest bridge, where the evidence along it is as usual around (our choice)."""


def draw_tracks(
    bare_earth: Heights, counts: Mapping[str, Heights], grid: Grid, /, *, watercourses: list[LineString]
) -> gpd.GeoDataFrame:
    """Roads, tracks and paths of the area as features: a network of lines.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres, NaN where unknown
    counts : `pipeline.manmade.tracks.evidence.TRACK_COUNTS`, (rows, cols) each
    watercourses : of the area; what runs along one for a stretch is its bed and no track
    """
    if not np.isfinite(bare_earth).any():
        return no_features(grid.crs)
    evidence = find_evidence(bare_earth, counts, grid)
    prominence, direction = _best_of(evidence)
    cell_m = evidence.grid.cell_m
    chains = crests(prominence, direction, cell_m=cell_m, low=GOES_ON, high=IS_SURE, least_m=LEAST_CREST_M)
    linked = bridges(chains, prominence, direction, cell_m=cell_m, most_cost=MOST_BRIDGE_M)
    ground, growth = (_along(stack, direction, evidence.grid) for stack in (evidence.ground, evidence.growth))
    water = shapely.STRtree(watercourses)
    rim = _rim(bare_earth, grid)
    likely = Judge(prominence, chains, ground, growth, evidence.grid, fill_nearest(bare_earth), rim, grid, water)
    lines = without_scraps(network_lines(chains | linked, evidence.grid))
    stretches = [stretch for line in lines for stretch in kept(line, likely.along(line))]
    lines = without_scraps(without_spurs(stretches))
    return _features(lines, likely)


@dataclass(frozen=True)
class Judge:
    """What lines are judged by.

    Attributes
    ----------
    prominence, chains : (rows, cols) of `course`, what stands out in it, and the cells of crests
    ground, growth : (rows, cols) of `course`, what the ground and what plants show along the best curve, above the
        usual
    heights : (rows, cols) of `grid`, bare earth in metres, no NaN
    rim : (rows, cols) of `grid`, 1 where the edge of the survey is nearer than a profile reaches, 0 elsewhere
    water : watercourses
    """

    prominence: Heights
    chains: Mask
    ground: Heights
    growth: Heights
    course: Grid
    heights: Heights
    rim: Heights
    grid: Grid
    water: shapely.STRtree

    @cached_property
    def near_chains(self) -> Heights:
        """(rows, cols) of `course`: 1 in and beside the cells of crests, 0 elsewhere."""
        return np.asarray(ndimage.binary_dilation(self.chains, np.ones((3, 3), bool)), np.float32)

    def sections(self, line: LineString) -> Sections:
        """Cross-profiles of a line."""
        return cut_sections(line, self.heights, self.grid)

    def along(self, line: LineString) -> Numbers:
        """Likelihood at each of the line's profiles."""
        sections = self.sections(line)
        return likelihood(sections, self.shown(line, sections))

    def shown(self, line: LineString, sections: Sections) -> Shown:
        """What the cells show at each profile."""
        places = shapely.get_coordinates(shapely.line_interpolate_point(line, sections.along_m))
        grids = self.prominence, self.near_chains, self.ground, self.growth
        prominence, seen, ground, growth = (np.nan_to_num(sample(grid, self.course, places)) for grid in grids)
        wet = np.zeros(len(places))
        wet[self.water.query(shapely.points(places), predicate="dwithin", distance=SAME_BED_M)[0]] = 1
        rim = sample(self.rim, self.grid, places)
        return Shown(prominence, seen, ground, growth, wet, rim)


def _rim(bare_earth: Heights, grid: Grid) -> Heights:
    """(rows, cols) float32, 1 nearer than HALF_M to ground that is not known or to the edge of the grid, else 0."""
    side = 2 * round(HALF_M / grid.cell_m) + 1
    inner = ndimage.minimum_filter(np.isfinite(bare_earth), side, mode="constant", cval=False)
    return np.asarray(~inner, np.float32)


def _best_of(evidence: Evidence) -> tuple[Heights, NDArray[np.int8]]:
    """Prominence and direction of the best curve through each cell, by all evidence or by that of narrow paths."""
    mean, direction = follow(evidence.strength, evidence.grid)
    narrow, its_direction = follow(evidence.trodden, evidence.grid)
    prominence, its_prominence = (stands_out(values, evidence.grid) for values in (mean, narrow))
    is_narrow = its_prominence > prominence
    return np.where(is_narrow, its_prominence, prominence), np.where(is_narrow, its_direction, direction)


def _along(strength: Strength, direction: NDArray[np.int8], grid: Grid) -> Heights:
    """(rows, cols) float32, strength along the best curve, there or beside it, above the usual."""
    here = np.take_along_axis(strength, direction[None].astype(np.int64), axis=0)[0]
    best = highest_around(here, 1).astype(np.float32) / np.float32(STEPS)
    return best - usual_around(best, grid)


def _features(lines: list[LineString], judge: Judge) -> gpd.GeoDataFrame:
    """The lines with symbol, confidence and evidence."""
    if not lines:
        return no_features(judge.grid.crs)
    found = [_measured(line, judge) for line in lines]
    return make_features(
        lines,
        crs=judge.grid.crs,
        symbol=[kind_of(one.width_m, one.climb, one.confidence) for one in found],
        confidence=[one.confidence for one in found],
        evidence=[_sentence(one) for one in found],
        width_m=[one.width_m for one in found],
    )


@dataclass(frozen=True)
class Measured:
    """A line's confidence, how many times the usual evidence it has, width of its floor, gradient, share bridged."""

    confidence: float
    shown: float
    width_m: float
    climb: float
    bridged: float


def _measured(line: LineString, judge: Judge) -> Measured:
    sections = judge.sections(line)
    shown = judge.shown(line, sections)
    likely = likelihood(sections, shown)
    return Measured(
        confidence=float(np.clip(likely.mean(), 0.05, MOST_SURE)),
        shown=float(shown.prominence.mean()),
        width_m=float(np.median(sections.floor_m)),
        climb=float(np.percentile(np.abs(sections.climb), 90)),
        bridged=float(1 - shown.seen.mean()),
    )


def _sentence(one: Measured) -> str:
    gap = f", {one.bridged:.0%} of it bridged over gaps" if one.bridged >= 0.05 else ""
    shown = f"{one.shown:.1f} times the usual evidence of a course"
    return f"{shown}, floor {one.width_m:.1f} m wide, climbs {one.climb:.0%}{gap}"
