"""Real bare earth under made forest, flown with the faults of real surveys, with boulders and clutter planted on it.

The relief is that of `dtm_walls/` below TUSSOCK_DATA; the forest and the pulses are those of the project's scene maker.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import rasterio
from numpy.typing import NDArray

from pipeline.points.classes import classify_returns
from pipeline.returns.cloud import Cloud
from pipeline.settings import PointsSettings
from sample_tiles.scene import records
from sample_tiles.scene.fields import Field, Lattice, bilinear, smooth_noise
from sample_tiles.scene.objects import no_solids
from sample_tiles.scene.place import Place
from sample_tiles.scene.plants import Plants, plant_trees, stands, stem_index, undergrowth
from sample_tiles.scene.pulses import fly
from sample_tiles.scene.terrain import Ground
from tests.benchmarks import planting
from tests.benchmarks.rock_scenes import Scene, data_folder, grid_of, with_lines_levelled
from tests.benchmarks.rock_shapes import Planted, draw_object

FIT_BLOCKS = ("3506_0", "3506_2", "3507_0", "3507_8")
"""Blocks of real bare earth that may be fitted to; the other four are kept to measure on."""
JUDGE_BLOCKS = ("3506_4", "3506_5", "3506_8", "3507_2")
SIDE_M = 180.0
"""Side of the square that is surveyed; slanting pulses need relief around it, and a block has 250 m."""
ORIGIN_M = (500000.0, 6000000.0)
KINDS_PER_HA = {
    **{"boulder": 16.0, "bush": 10.0, "young spruce": 25.0, "stump": 25.0, "root plate": 3.0, "log pile": 0.5},
    **{"brush pile": 5.0, "ant hill": 4.0, "log": 9.0, "hut": 0.3},
}
"""Objects a hectare: clutter as often as a managed forest has it, boulders as often as boulder country (our choice)."""
TALUS_PER_HA, TALUS_BLOCKS, TALUS_REACH_M = 0.7, (5, 14), 6.0
"""Heaps of blocks that touch each other, how many blocks each has, and how far they lie from its middle."""
LINE_HEIGHT_M, LINE_PLAN_M, LINE_DRIFT_M = 0.08, 0.2, 0.03
"""How far flight lines lie apart in height and in plan, and drift in height along the line (standard deviations)."""
DEAD_M = 1.2
"""A receiver that is blind after a return records nothing nearer than this below it."""
LOW_SHARE, LOW_M = 0.0005, (0.4, 4.0)
"""Share of the last returns that come too late, and how far below the ground they seem to lie."""


def relief_scene(block: str, seed: int, per_m2: float) -> Scene:
    """A block of real relief flown at `per_m2` pulses/m2 with objects planted on it; of even seeds with faults.

    Of seeds that five divides, as by a survey that keeps no intensities.
    """
    rng = np.random.default_rng([seed, FIT_BLOCKS.index(block) if block in FIT_BLOCKS else 9])
    lattice = Lattice(SIDE_M)
    earth = _relief(block, lattice, seed)
    cloud = _flown(_forest(earth, lattice, rng), seed, per_m2)
    bare = _above(cloud, earth, lattice)
    things = _things(cloud, rng)
    reaching = planting.reaching_per_m2(cloud, bare, things)
    has_faults = seed % 2 == 0
    cloud = planting.plant(cloud, bare, things, rng, apart_m=DEAD_M if has_faults else planting.RANGE_RESOLUTION_M)
    if has_faults:
        cloud = with_lines_levelled(with_faults(cloud, rng))
    if seed % 5 == 0:
        cloud = replace(cloud, intensity=np.zeros_like(cloud.intensity))
    classes = classify_returns(cloud, settings=PointsSettings())
    name = f"relief_{block}/{seed}"
    return Scene(name, cloud, classes.asprs_class, classes.height_above_m, grid_of(cloud), things, reaching, True)


def _relief(block: str, lattice: Lattice, seed: int) -> Field:
    """(n, n) bare earth of a block on the lattice, turned by quarters with the seed."""
    with rasterio.open(data_folder() / "dtm_walls" / f"block_{block}_dtm.tif") as source:
        fine = source.read(1)[::-1]
    half = fine.reshape(fine.shape[0] // 2, 2, -1, 2).mean(axis=(1, 3))
    turned = np.rot90(half, seed % 4)
    first = (len(turned) - lattice.n) // 2
    return np.ascontiguousarray(turned[first : first + lattice.n, first : first + lattice.n], np.float32)


def _forest(earth: Field, lattice: Lattice, rng: np.random.Generator) -> Place:
    """Stands of trees with gaps, undergrowth, and carpets of heather and fern on relief without anything built."""
    shape = (lattice.n, lattice.n)
    none = np.zeros(shape, np.float32)
    stand = stands(lattice, rng, np.ones(shape, np.float32))
    clumped, truth = undergrowth(lattice, rng, stand, none)
    gaps = (smooth_noise(lattice, rng, 25) > 0.7).astype(np.float32)
    volume, stems = plant_trees(lattice, rng, stand, gaps)
    is_carpet = smooth_noise(lattice, rng, 30) > 0.6
    carpet_m = np.where(is_carpet, rng.uniform(0.3, 0.7), 0.12).astype(np.float32)
    share = np.where(is_carpet, rng.uniform(0.4, 0.8), 0.05).astype(np.float32)
    plants = Plants(volume, clumped, truth, stems, stem_index(lattice, stems), carpet_m, share)
    brightness = np.full(shape, 0.32, np.float32)
    return Place(Ground(lattice, earth), no_solids(lattice), plants, none, none, none, brightness, [], [])


def _flown(place: Place, seed: int, per_m2: float) -> Cloud:
    r = records.join(fly(place, seed=seed, pulses_per_m2=per_m2))
    return Cloud.of(
        np.column_stack((r.x + ORIGIN_M[0], r.y + ORIGIN_M[1], r.z)),
        intensity=r.intensity,
        return_number=r.return_number,
        n_returns=r.n_returns,
        gps_time=r.gps_time,
        flight_line=r.flight_line,
    )


def _above(cloud: Cloud, earth: Field, lattice: Lattice) -> NDArray[np.float64]:
    """(n,) metres over the true bare earth."""
    return cloud.height - bilinear(earth, lattice, cloud.east - ORIGIN_M[0], cloud.north - ORIGIN_M[1])


def _things(cloud: Cloud, rng: np.random.Generator) -> list[Planted]:
    """Scattered objects, and heaps of blocks."""
    hectares = SIDE_M**2 / 1e4
    counts = {kind: max(1, round(n * hectares)) for kind, n in KINDS_PER_HA.items()}
    things = planting.scatter(cloud, rng, counts=counts, spacing_m=5.0)
    for east, north in rng.uniform(15, SIDE_M - 15, (round(TALUS_PER_HA * hectares), 2)) + ORIGIN_M:
        places = rng.uniform(-TALUS_REACH_M, TALUS_REACH_M, (int(rng.integers(*TALUS_BLOCKS)), 2))
        blocks = [draw_object("boulder", rng, float(east + e), float(north + n)) for e, n in places]
        things += [block for block in blocks if block.height_m < 2.5]
    return things


def with_faults(cloud: Cloud, rng: np.random.Generator, /) -> Cloud:
    """The cloud as a survey would give it whose lines do not meet, whose receiver is blind after a return."""
    east, north, height = cloud.east.copy(), cloud.north.copy(), cloud.height.copy()
    for line in np.unique(cloud.flight_line):
        ours = cloud.flight_line == line
        wave = np.sin(2 * np.pi * (north[ours] / rng.uniform(150, 400) + rng.uniform()))
        height[ours] += rng.normal(0, LINE_HEIGHT_M) + rng.normal(0, LINE_DRIFT_M) * wave
        east[ours] += rng.normal(0, LINE_PLAN_M)
        north[ours] += rng.normal(0, LINE_PLAN_M)
    late = (rng.random(len(cloud)) < LOW_SHARE) & cloud.is_last
    height[late] -= rng.uniform(*LOW_M, int(late.sum()))
    return _without_blind(replace(cloud, east=east, north=north, height=height))


def _without_blind(cloud: Cloud) -> Cloud:
    """Without the returns that lie too close below the one before of their pulse; the rest numbered anew."""
    order = np.lexsort((cloud.return_number, cloud.gps_time, cloud.flight_line))
    cloud = cloud.take(order)
    keep = np.ones(len(cloud), bool)
    is_next = (np.diff(cloud.gps_time) == 0) & (np.diff(cloud.flight_line.astype(np.int64)) == 0)
    keep[1:] = ~(is_next & (-np.diff(cloud.height) < DEAD_M))
    cloud = cloud.take(keep)
    is_new = np.ones(len(cloud), bool)
    is_new[1:] = (np.diff(cloud.gps_time) != 0) | (np.diff(cloud.flight_line.astype(np.int64)) != 0)
    pulse = np.cumsum(is_new) - 1
    number = np.arange(len(cloud)) - np.flatnonzero(is_new)[pulse] + 1
    count = np.bincount(pulse)[pulse]
    return replace(cloud, return_number=number.astype(np.uint8), n_returns=count.astype(np.uint8))
