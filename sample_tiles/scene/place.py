"""The whole invented place, made from one seed: terrain first, then what people built, then what grows around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage as ndi
from skimage.graph import route_through_array

from .fields import Field, Lattice, Metres, distance_to_line, resampled, slope_of, smooth_noise
from .objects import Solids, add_building, add_wall, add_wires, no_solids, scatter_boulders, scatter_timber
from .plants import Plants, add_bushes, grass, plant_trees, stands, stem_index, undergrowth
from .terrain import (
    Ground,
    add_banks,
    add_bench,
    add_channels,
    add_cliffs,
    add_gullies,
    add_hollow_way,
    add_knolls_and_pits,
    add_micro_relief,
    add_pond,
    add_terrace,
    courses,
    shape,
)

TRACK_M, PATH_M, RIDE_M = 3.6, 1.3, 6.0


@dataclass
class Place:
    """A finished scene; every field is (n, n) on `ground.lattice`."""

    ground: Ground
    solids: Solids
    plants: Plants
    openness: Field
    """0 forest, 1 open land, 2 rough open land."""
    pond: Field
    wet: Field
    """Share of pulses that running water swallows."""
    brightness: Field
    """Reflectance of the ground, 0..1."""
    tracks: list[tuple[Metres, float]]
    rides: list[tuple[Metres, float]]

    @property
    def lattice(self) -> Lattice:
        """The lattice of all fields."""
        return self.ground.lattice


def make_place(*, seed: int, size_m: float) -> Place:
    """Build the place; the same seed and size give the same place."""
    rng = np.random.default_rng(seed)
    lattice = Lattice(size_m)
    hectares = size_m**2 / 1e4
    ground, water = _make_ground(lattice, rng, hectares)
    tracks = _make_ways(ground, rng)
    ways = _near_lines(lattice, [(line, width / 2 + 0.3) for line, width in tracks])
    solids, yards, power = _make_buildings(ground, rng, hectares, ways)
    openness = _openness(ground, rng, yards, power, water)
    rides = _make_rides(lattice, rng, np.maximum(openness, ways), max(1, round(hectares / 25)))
    rides_here = _near_lines(lattice, [(line, width / 2) for line, width in rides])
    forbidden = np.maximum.reduce([ways, rides_here, water, (openness == 1).astype(np.float32)])
    scatter_boulders(solids, ground, rng, round(4.5 * hectares), forbidden)
    scatter_timber(solids, rng, ((openness == 0) & (ways <= 0)).astype(np.float32), round(14 * hectares))
    wet = _near_lines(lattice, [(line, 0.7) for line in ground.streams]) * 0.75
    plants = _make_plants(ground, solids, rng, openness, ways, rides_here, water, wet)
    brightness = 0.32 + 0.05 * smooth_noise(lattice, rng, 20) + 0.08 * (openness == 1) + 0.16 * ways - 0.12 * (wet > 0)
    return Place(ground, solids, plants, openness, water, wet, brightness.astype(np.float32), tracks, rides)


def _make_ground(lattice: Lattice, rng: np.random.Generator, hectares: float) -> tuple[Ground, Field]:
    streams = courses(rng, lattice.size_m)
    ground = Ground(lattice, shape(lattice, rng, streams, relief_m=float(rng.uniform(30, 38))))
    ground.to_stream = np.minimum.reduce([np.abs(distance_to_line(lattice, c.line, 60)[0]) for c in streams])
    for course in streams:
        ground.taken += [(x, y, 7.0) for x, y in resampled(course.line, 9)]
    add_channels(ground, [course.line for course in streams])
    for _ in range(max(1, round(hectares / 25))):
        add_terrace(ground, rng, float(rng.uniform(36, 46)))
    ponds = [add_terrace(ground, rng, float(rng.uniform(19, 25))) for _ in range(max(1, round(hectares / 25)))]
    add_cliffs(ground, rng, max(2, round(hectares / 3)))
    add_banks(ground, rng, max(1, round(hectares / 5)))
    add_gullies(ground, rng, max(1, round(hectares / 8)))
    add_knolls_and_pits(ground, rng, round(1.1 * hectares), round(0.7 * hectares))
    add_micro_relief(ground, rng)
    water: Field = np.zeros_like(ground.height)
    for x, y, radius in ponds:
        water = np.maximum(water, add_pond(ground, rng, x, y, radius * 0.55))
    return ground, water


def _make_ways(ground: Ground, rng: np.random.Generator) -> list[tuple[Metres, float]]:
    """A vehicle track across the square past the main terrace, and a footpath from it to the far side."""
    size, (tx, ty, radius) = ground.lattice.size_m, ground.terraces[0]
    is_eastward = rng.random() < 0.5
    turned = slice(None) if is_eastward else slice(None, None, -1)
    # Written for a track that runs east; a track that runs north has x and y swapped.
    level = ty if is_eastward else tx
    start, end = (np.array([x, level + rng.uniform(-0.12, 0.12) * size])[turned] for x in (-20.0, size + 20.0))
    inward = 1 if level < size / 2 else -1
    beside = np.array([tx, ty]) + (0.85 * radius + 4) * np.array([0.2, 0.98 * inward])[turned]
    track = _smoothed(np.array(_easy_way(ground, start, beside)[:-1] + _easy_way(ground, beside, end)))
    add_bench(ground, track, TRACK_M)
    far = np.array([size * rng.uniform(0.1, 0.9), size + 15.0 if inward > 0 else -15.0])[turned]
    fork = track[int(len(track) * rng.uniform(0.3, 0.7))]
    path = _smoothed(np.array(_easy_way(ground, fork, far)))
    path = path[np.hypot(*(path[:, None] - track[None]).transpose(2, 0, 1)).min(axis=1) > 5]
    add_hollow_way(ground, path, PATH_M, 0.14)
    return [(track, TRACK_M), (path, PATH_M)]


def _make_rides(lattice: Lattice, rng: np.random.Generator, kept_out: Field, count: int) -> list[tuple[Metres, float]]:
    """Straight rides where there is most forest on both sides of them."""
    size, rides = lattice.size_m, []
    kept_out = ndi.maximum_filter(kept_out > 0, 25).astype(np.float32)
    for _ in range(count):
        best, chosen = np.inf, np.zeros((2, 2))
        for x, y, turn, half in zip(*rng.uniform(0, 1, (4, 400)), strict=True):
            reach = (40 + 35 * half) * np.array([np.cos(turn * np.pi), np.sin(turn * np.pi)])
            line = np.array([x, y]) * size + np.array([[-1], [1]]) * reach
            if line.min() < 8 or line.max() > size - 8:
                continue
            fine = resampled(line, 2.0)
            outside = float(kept_out.ravel()[lattice.index(fine[:, 0], fine[:, 1])].sum() - 0.1 * len(fine))
            if outside < best:
                best, chosen = outside, line
        rides.append((chosen, RIDE_M))
        kept_out = np.maximum(kept_out, _near_lines(lattice, [(chosen, 40.0)]))
    return rides


def _easy_way(ground: Ground, start: Metres, end: Metres) -> list[Metres]:
    """The way of least effort between two places on a grid of 4 m, climbing being dear."""
    lattice, every = ground.lattice, 8
    smooth = ndi.gaussian_filter(ground.height, 8)[::every, ::every]
    cost = 1 + (slope_of(smooth, every * lattice.cell_m) / 7) ** 2
    x, y = lattice.x[:, ::every], lattice.y[::every]
    edge = np.maximum.reduce(
        [15 - x + 0 * y, x + 0 * y - lattice.size_m + 15, 15 - y + 0 * x, y + 0 * x - lattice.size_m + 15]
    )
    cost = cost + 3 * (edge > 0)
    cost = cost + 4 * (ground.to_stream[::every, ::every] < 12)
    for tx, ty, radius in ground.terraces:
        cost = cost + 25 * (np.hypot(x - tx, y - ty) < 0.8 * radius + 4)
    cells = [
        np.clip(((p[::-1] + lattice.margin_m) / (every * lattice.cell_m)).astype(int), 0, len(cost) - 1)
        for p in (start, end)
    ]
    route, _ = route_through_array(cost, tuple(cells[0]), tuple(cells[1]), fully_connected=True, geometric=True)
    return [np.array([c, r]) * every * lattice.cell_m - lattice.margin_m + 1 for r, c in route]


def _smoothed(line: Metres) -> Metres:
    fine = resampled(line, 2.0)
    return resampled(ndi.gaussian_filter1d(fine, 5, axis=0, mode="nearest"), 3.0)


def _make_buildings(
    ground: Ground, rng: np.random.Generator, hectares: float, ways: Field
) -> tuple[Solids, list[tuple[float, float, float]], Metres]:
    """Houses on the terraces, a wall along each field, and a power line."""
    solids = no_solids(ground.lattice)
    yards = ground.terraces[: max(1, round(hectares / 25))]
    for x, y, radius in yards:
        turn = float(rng.uniform(0, np.pi))
        for k, (length, width, eaves) in enumerate(((14.5, 8.4, 4.2), (10.5, 7.2, 3.0))):
            at = np.array([x, y]) + radius * 0.42 * np.array([np.cos(turn + 2.3 * k), np.sin(turn + 2.3 * k)])
            size = tuple(float(v * rng.uniform(0.9, 1.15)) for v in (length, width, eaves))
            add_building(solids, ground, *at, size, turn + float(rng.uniform(-0.1, 0.1)), wing=k == 0)  # type: ignore[arg-type]
        around = np.linspace(0.4, 3.4, 30) + turn
        ring = np.array([x, y]) + radius * 0.93 * np.column_stack([np.cos(around), np.sin(around)])
        add_wall(solids, rng, ways, ring, 0.95)
    size = ground.lattice.size_m
    x0 = size * rng.uniform(0.15, 0.85)
    ends = np.array([[x0, -25.0], [size - x0, size + 25.0]])
    count = int(np.hypot(*(ends[1] - ends[0])) / 75) + 1
    power = ends[0] + (ends[1] - ends[0]) * np.linspace(0, 1, count + 1)[:, None]
    add_wires(solids, ground, power, pole_m=10.5, offsets_m=(-1.2, 0.0, 1.2))
    return solids, list(yards), power


def _near_lines(lattice: Lattice, lines: list[tuple[Metres, float]]) -> Field:
    """1 within the given distance of any of the lines."""
    near = np.zeros((lattice.n, lattice.n), np.float32)
    for line, half_m in lines:
        distance, _ = distance_to_line(lattice, line, half_m + 1)
        near[np.abs(distance) <= half_m] = 1
    return near


def _openness(
    ground: Ground, rng: np.random.Generator, yards: list[tuple[float, float, float]], power: Metres, water: Field
) -> Field:
    """Fields around the houses, meadows, rough land under the power line and on some slopes."""
    lattice = ground.lattice
    openness = np.zeros((lattice.n, lattice.n), np.float32)
    openness[smooth_noise(lattice, rng, 85) + 0.2 * smooth_noise(lattice, rng, 18) > 1.45] = 2
    openness[_near_lines(lattice, [(power, 9.0)]) > 0] = 2
    meadow = smooth_noise(lattice, rng, 80) + 0.2 * smooth_noise(lattice, rng, 20)
    openness[meadow > 1.6] = 1
    wobble = 1 + 0.08 * smooth_noise(lattice, rng, 25)
    for x, y, radius in yards:
        openness[np.hypot(lattice.x - x, lattice.y - y) * wobble < radius * 1.02] = 1
    openness[ndi.binary_dilation(water > 0, iterations=6) & (water <= 0)] = 2
    return openness


def _make_plants(
    ground: Ground,
    solids: Solids,
    rng: np.random.Generator,
    openness: Field,
    ways: Field,
    rides: Field,
    water: Field,
    wet: Field,
) -> Plants:
    lattice = ground.lattice
    forest = ((openness == 0) & (water <= 0)).astype(np.float32)
    stand = stands(lattice, rng, forest)
    hard = solids.height.reshape(lattice.n, 2, lattice.n, 2).max(axis=(1, 3)) > 0.6
    trodden = np.maximum.reduce([ways, rides, water, hard.astype(np.float32)])
    clumped, truth = undergrowth(lattice, rng, stand, np.maximum(trodden, (openness == 1).astype(np.float32)))
    clear = np.maximum.reduce([ndi.grey_dilation(np.maximum(ways, rides), size=(3, 3)), hard.astype(np.float32), wet])
    volume, stems = plant_trees(lattice, rng, stand, clear)
    rough = np.flatnonzero((openness == 2).ravel() & (trodden.ravel() <= 0))
    chosen = rng.choice(rough, max(1, int(len(rough) * lattice.cell_m**2 / 150)), replace=False)
    rows, cols = np.divmod(chosen, lattice.n)
    add_bushes(volume, lattice, rng, np.column_stack([lattice.x[0, cols], lattice.y[rows, 0]]))
    grass_m, share = grass(lattice, rng, openness, np.maximum(ways, water))
    return Plants(volume, clumped, truth, stems, stem_index(lattice, stems), grass_m, share)
