"""How much speaks for a course through each cell in each direction."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.fill import fill_nearest
from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import highest_into, larger_cells, mean_into, sum_into
from pipeline.manmade.tracks.bare import bare_contrast, even_contrast, smooth_contrast
from pipeline.manmade.tracks.bench import WIDTHS_M, floor_contrast
from pipeline.manmade.tracks.strips import DIRECTIONS

FLOOR_CELL_M = 0.5
"""Least cell in which the shape of the ground is looked at: half a narrow path (our choice)."""
COURSE_CELL_M = 1.0
"""Least cell in which pulses are counted and courses followed: finer cells hold few pulses and cost time (our
choice)."""
TRACK_COUNTS = ("pulses", "entered", "stopped", "growth", "lone_ground_returns")
"""Counts of pulses that courses are looked for in, see `pipeline.terrain.profile` and `pipeline.terrain.counts`."""
LEAST_CONTRAST = {"trodden": 0.05, "driven": 0.05, "smooth": 0.15, "even": 0.15, "clean": 0.04, "bare": 0.08}
"""Contrast that counts a half where the ground around shows none, by kind: slopes for the floor, shares of pulses for
the others (our choice)."""
USUAL_TIMES = {"trodden": 2.5, "driven": 2.5, "smooth": 2.0, "even": 3.0, "clean": 6.0, "bare": 5.0}
"""How many times what is usual around a contrast must be, beyond that, to count a half, by kind: so many that all kinds
have about equal noise along curves (fitted on `scene_a`, `hard_moraine`, `hard_steep` and a block of real relief;
"even" on the first, the last and a boreal km2)."""
NARROW = "trodden"
"""Kind of contrast that shows narrow paths."""
LEVELLED = "even"
"""Kind of contrast that tells of ground levelled along a course, which floors of valleys are as well."""
OF_PLANTS = ("clean", "bare")
"""Kinds of contrast that tell of plants; the others, but for the levelled, tell of the shape of the ground."""
AROUND_M = 31.0
"""Side of the window in which the usual contrast is taken: it holds a road and as much ground beside it (our
choice)."""
SAMPLED = range(0, DIRECTIONS, 4)
"""Directions in which the usual contrast is taken: natural ground has as much in any."""
NOTHING = 0.4
"""Share below which a contrast counts nothing: noise of one kind must not drown another (our choice)."""
ROUGH_M = 1.0
"""Sigma of the mean that roughness is measured against: lumps and hollows of some two metres (our choice)."""
POWER = 1.5
"""Power by which the shares of several kinds are added up and of whose sum the root is taken: with 1 the noise of weak
kinds hides one that is strong, with more several weak ones no longer help each other (fitted as above)."""
STEPS = 100
"""Parts of one in which strength is kept, so that all directions of a field fit in memory."""

MOST_STRENGTH = 2.5
"""Strength from which more counts no more: one byte holds it in such parts (our choice)."""

Strength = NDArray[np.uint8]
Contrast = Callable[[int], Heights]


@dataclass(frozen=True)
class Evidence:
    """What speaks for a course.

    Attributes
    ----------
    strength : (DIRECTIONS, rows, cols) uint8, in STEPS parts of one: the kinds of evidence together, each
        a share of 0 to 1
    trodden : the same of the floors of narrow paths alone, which show in nothing else
    ground, growth : the same of the kinds that tell of the shape of the ground and of those that tell of plants
    grid : the cells
    """

    strength: Strength
    trodden: Strength
    ground: Strength
    growth: Strength
    grid: Grid


def find_evidence(bare_earth: Heights, counts: Mapping[str, Heights], grid: Grid, /) -> Evidence:
    """The evidence for courses, from the shape of the ground and from what pulses met above it.

    Each kind of contrast is held against what is usual around: on rough ground any direction shows a floor, under
    broken canopy any shows a gap, and neither may drown what the other kinds show.

    Parameters
    ----------
    bare_earth : (rows, cols), metres, NaN where unknown
    counts : TRACK_COUNTS, (rows, cols) each
    """
    course, _ = larger_cells(grid, least_m=COURSE_CELL_M)
    contrasts = _contrasts(bare_earth, counts, grid, course)
    usual = {kind: _usual(kind, contrast, course) for kind, contrast in contrasts.items()}
    strength, trodden, shape, growth = (np.zeros((DIRECTIONS, *course.shape), np.uint8) for _ in range(4))
    for number in range(DIRECTIONS):
        ground, plants, level = (np.zeros(course.shape, np.float32) for _ in range(3))
        for kind, contrast in contrasts.items():
            share = _share_of(contrast(number), usual[kind])
            into = plants if kind in OF_PLANTS else level if kind == LEVELLED else ground
            into += _raised(share, POWER)
            if kind == NARROW:
                trodden[number] = np.round(share * STEPS)
        for kept, powers in ((strength, ground + plants + level), (shape, ground), (growth, plants)):
            kept[number] = np.round(np.minimum(_raised(powers, 1 / POWER), MOST_STRENGTH) * STEPS)
    return Evidence(strength, trodden, shape, growth, course)


def _share_of(found: Heights, usual: Heights) -> Heights:
    """(rows, cols) 0..1, how much a contrast counts beside the usual one."""
    return np.asarray(np.maximum(found / (found + usual) - NOTHING, 0) / (1 - NOTHING))


def _raised(values: Heights, power: float) -> Heights:
    """Values of 0 and more raised to a power; most cells hold nothing, and powers take long."""
    raised = np.zeros_like(values)
    some = values > 0
    raised[some] = values[some] ** np.float32(power)
    return raised


def _contrasts(bare_earth: Heights, counts: Mapping[str, Heights], grid: Grid, course: Grid) -> dict[str, Contrast]:
    """The contrast of each kind in the cells of the course, as a function of the number of a direction."""
    fine, times = larger_cells(grid, least_m=FLOOR_CELL_M)
    known = mean_into(bare_earth, grid, fine, times)
    heights = fill_nearest(known).astype(np.float32) if np.isfinite(known).any() else np.zeros(fine.shape, np.float32)
    together = round(course.cell_m / fine.cell_m)
    sums = sum_into({name: counts[name] for name in TRACK_COUNTS}, grid, course, round(course.cell_m / grid.cell_m))
    passed = np.maximum(sums["entered"] - sums["stopped"] - sums["growth"], 0)

    def floor(number: int, made: str) -> Heights:
        found = floor_contrast(heights, number, made=made, cell_m=fine.cell_m)
        best = highest_into(np.where(np.isfinite(known), found, np.float32(0)), fine, course, together)
        return np.asarray(np.nan_to_num(best), np.float32)

    high = np.square(heights - gaussian(heights, ROUGH_M / fine.cell_m)).astype(np.float32)
    rough = np.nan_to_num(mean_into(high, fine, course, together))
    coarse = mean_into(heights, fine, course, together)

    def smooth(number: int) -> Heights:
        return smooth_contrast(rough, number, cell_m=course.cell_m)

    def even(number: int) -> Heights:
        return even_contrast(coarse, number, cell_m=course.cell_m)

    def clean(number: int) -> Heights:
        return bare_contrast(passed, sums["entered"], number, cell_m=course.cell_m)

    def bare(number: int) -> Heights:
        return bare_contrast(sums["lone_ground_returns"], sums["pulses"], number, cell_m=course.cell_m)

    floors: dict[str, Contrast] = {made: partial(floor, made=made) for made in WIDTHS_M}
    ground = floors | {"smooth": smooth, "even": even}
    return ground | {"clean": clean, "bare": bare} if sums["pulses"].any() else ground


def _usual(kind: str, contrast: Contrast, grid: Grid) -> Heights:
    """(rows, cols) float32, contrast that counts a half."""
    total = np.zeros(grid.shape, np.float32)
    for number in SAMPLED:
        total += contrast(number) / len(SAMPLED)
    side = max(1, round(AROUND_M / grid.cell_m)) | 1
    around = square_mean(total, side, rim="nearest")
    return (LEAST_CONTRAST[kind] + USUAL_TIMES[kind] * around).astype(np.float32)
