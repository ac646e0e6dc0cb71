"""An invented farm at the edge of a wood, full of thin lines whose course is known, and the flight over it.

Narrow footpaths and a sunken lane in the wood; ditches, hedges and walls around the fields. All of it comes from
numbers: another seed is another farm. Beams, plants and solid things are those of the sample's own maker.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import LineString, Polygon, box

from tests.paths import PROJECT

sys.path.insert(0, str(PROJECT / "sample_tiles"))

from scene import fields, objects, place, plants, pulses, records, terrain

Field = NDArray[np.float32]
Metres = NDArray[np.float64]

FOOTPATH_M, LANE_M = 0.8, 2.4
"""Width in metres of the trodden ground of a footpath, and of the floor of the lane."""
LANE_DEEP_M, DITCH_DEEP_M = (0.9, 1.4), (0.6, 1.0)
"""Least and greatest depth in metres of a lane and of a ditch."""
LANE_BANK_M, DITCH_HALF_M = 1.2, 1.1
"""Width in metres of a bank of the lane, and half the width of a ditch between its edges."""
WALL_HIGH_M, HEDGE_HIGH_M, HEDGE_HALF_M = (0.8, 1.2), (1.5, 2.5), (0.6, 1.1)
"""Least and greatest height of walls and hedges, and half the width of a hedge, metres."""
HEDGE_DENSITY = (60.0, 160.0)
"""Plant-area density of a hedge, in hundredths of m2/m3."""
ORIGIN = (573_000.0, 5_721_000.0)
"""South-west corner of the farm in metres of `records.CRS`."""
BASE_M = 140.0
"""Elevation that the heights of the farm are above."""


@dataclass(frozen=True)
class Croft:
    """A finished farm.

    Attributes
    ----------
    place : what the beams meet
    lines : courses of `footpath`, `lane`, `ditch`, `hedge` and `wall`, in metres from the south-west corner
    """

    place: place.Place
    lines: dict[str, list[Metres]]

    def true_lines(self) -> dict[str, list[LineString]]:
        """The courses in the coordinates of the tiles."""
        return {kind: [LineString(line + ORIGIN) for line in lines] for kind, lines in self.lines.items()}

    def covered(self) -> Polygon:
        """The ground that the tiles cover, in their coordinates."""
        size_m = self.place.lattice.size_m
        return box(ORIGIN[0], ORIGIN[1], ORIGIN[0] + size_m, ORIGIN[1] + size_m)


def make_croft(*, seed: int, size_m: float = 260.0) -> Croft:
    """The farm; the same seed and size give the same one."""
    rng = np.random.default_rng(seed)
    lattice = fields.Lattice(size_m)
    rise = rng.uniform(0.02, 0.05)
    height = (
        rise * lattice.y + 2.0 * fields.smooth_noise(lattice, rng, 90) + 0.06 * fields.smooth_noise(lattice, rng, 4)
    )
    ground = terrain.Ground(lattice, height.astype(np.float32))
    lines = _courses(rng, size_m)
    for line in lines["footpath"]:
        terrain.add_hollow_way(ground, line, FOOTPATH_M, float(rng.uniform(0.12, 0.22)))
    for line in lines["lane"]:
        _dig(ground, line, float(rng.uniform(*LANE_DEEP_M)), floor_m=LANE_M, half_m=LANE_M / 2 + LANE_BANK_M)
    for line in lines["ditch"]:
        _dig(ground, line, float(rng.uniform(*DITCH_DEEP_M)), floor_m=0.4, half_m=DITCH_HALF_M)
    solids = objects.no_solids(lattice)
    nowhere = np.zeros((lattice.n, lattice.n), np.float32)
    for line in lines["wall"]:
        objects.add_wall(solids, rng, nowhere, line, float(rng.uniform(*WALL_HIGH_M)))
    is_open = np.broadcast_to(lattice.y < size_m / 2, nowhere.shape)
    objects.scatter_timber(solids, rng, np.where(is_open, 0, 1).astype(np.float32), round(size_m**2 / 1500))
    green = _plants(lattice, rng, is_open, lines)
    openness = is_open.astype(np.float32)
    brightness = (0.32 + 0.08 * openness).astype(np.float32)
    return Croft(place.Place(ground, solids, green, openness, nowhere, nowhere, brightness, [], []), lines)


def write_croft(croft: Croft, folder: Path, /, *, seed: int, pulses_per_m2: float) -> Path:
    """Fly over the farm; the folder of the one tile."""
    size_m = croft.place.lattice.size_m
    returns = records.join(pulses.fly(croft.place, seed=seed, pulses_per_m2=pulses_per_m2))
    records.write_tiles(returns, folder, origin=ORIGIN, size_m=size_m, tile_m=size_m, base_m=BASE_M)
    return folder


def _courses(rng: np.random.Generator, size_m: float) -> dict[str, list[Metres]]:
    """Where everything runs: field boundaries from south to north below the middle, ways from west to east above."""
    lines: dict[str, list[Metres]] = {kind: [] for kind in ("footpath", "lane", "ditch", "hedge", "wall")}
    for kind, share in zip(rng.permutation(["hedge", "wall", "ditch", "hedge", "wall"]), range(1, 6), strict=True):
        x0, x1 = size_m * (share / 6 + rng.uniform(-0.04, 0.04, 2))
        lines[kind].append(_bowed(rng, (x0, 0.05 * size_m), (x1, 0.44 * size_m), bow_m=2.0, sway_m=0.0))
    for kind, share in zip(rng.permutation(["footpath", "lane", "footpath"]), (0.58, 0.72, 0.87), strict=True):
        y0, y1 = size_m * (share + rng.uniform(-0.04, 0.04, 2))
        lines[kind].append(_bowed(rng, (-20.0, y0), (size_m + 20.0, y1), bow_m=8.0, sway_m=4.0))
    return lines


def _bowed(
    rng: np.random.Generator, start: tuple[float, float], end: tuple[float, float], *, bow_m: float, sway_m: float
) -> Metres:
    """A line that bows to one side and winds about that with the given reach in metres."""
    first, last = np.array(start), np.array(end)
    along = np.linspace(0, 1, max(2, int(np.hypot(*(last - first)) / 3)))
    aside = bow_m * rng.uniform(-1, 1) * np.sin(np.pi * along)
    aside += sway_m * np.sin(2 * np.pi * along * rng.uniform(2, 4) + rng.uniform(0, 6))
    left = np.array([-(last - first)[1], (last - first)[0]]) / np.hypot(*(last - first))
    return np.asarray(first + along[:, None] * (last - first) + aside[:, None] * left)


def _dig(ground: terrain.Ground, line: Metres, deep_m: float, *, floor_m: float, half_m: float) -> None:
    """A ditch or lane: a level floor, and sides that fall evenly to it from edges `half_m` off its middle."""
    distance, _ = fields.distance_to_line(ground.lattice, line, half_m + 1)
    off = np.where(np.isfinite(distance), np.abs(distance), 99.0)
    depth = deep_m * np.clip((half_m - off) / (half_m - floor_m / 2), 0, 1)
    ground.height = (ground.height - depth).astype(np.float32)


def _plants(
    lattice: fields.Lattice, rng: np.random.Generator, is_open: NDArray[np.bool_], lines: dict[str, list[Metres]]
) -> plants.Plants:
    """Wood with undergrowth north of the middle, grass and single bushes south of it, and the hedges."""
    ways = np.zeros(is_open.shape, np.float32)
    for kind, width_m in (("footpath", FOOTPATH_M), ("lane", LANE_M)):
        for line in lines[kind]:
            ways[np.abs(fields.distance_to_line(lattice, line, width_m)[0]) <= width_m / 2 + 0.25] = 1
    stand = plants.stands(lattice, rng, np.where(is_open, 0, 1).astype(np.float32))
    clumped, truth = plants.undergrowth(lattice, rng, stand, np.maximum(ways, is_open))
    volume, stems = plants.plant_trees(lattice, rng, stand, ways)
    bushes = rng.uniform(5, [lattice.size_m - 5, 0.45 * lattice.size_m], (round(lattice.size_m**2 / 3000), 2))
    plants.add_bushes(volume, lattice, rng, bushes)
    for line in lines["hedge"]:
        _plant_hedge(volume, lattice, rng, line)
    grass_m, share = plants.grass(lattice, rng, is_open.astype(np.float32), ways)
    return plants.Plants(volume, clumped, truth, stems, plants.stem_index(lattice, stems), grass_m, share)


def _plant_hedge(volume: NDArray[np.uint8], lattice: fields.Lattice, rng: np.random.Generator, line: Metres) -> None:
    """Cells of plants along a line, of one width and of heights that change along it."""
    distance, _ = fields.distance_to_line(lattice, line, 3.0)
    chosen = np.flatnonzero(np.abs(distance.ravel()) <= rng.uniform(*HEDGE_HALF_M))
    ragged = 1 + 0.12 * fields.smooth_noise(lattice, rng, 6).ravel()[chosen]
    high_m = rng.uniform(*HEDGE_HIGH_M) * ragged
    level_m = np.arange(plants.LAYERS) * plants.LAYER_M
    values = np.where(level_m[None, :] < high_m[:, None], rng.uniform(*HEDGE_DENSITY, (len(chosen), 1)), 0)
    volume[chosen] = np.maximum(volume[chosen], values).astype(np.uint8)
