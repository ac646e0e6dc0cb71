"""Hard things that stand on the ground: boulders, buildings, stone walls, logs, stumps, a power line."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.ops import unary_union

from .fields import Field, Lattice, Metres, bilinear, distance_to_line, smooth_noise
from .terrain import Ground

ROCK, TIMBER = 6, 4
"""What a return from a solid is called in the truth: boulder, building or wall; log or stump."""


@dataclass
class Solids:
    """Heights above the bare earth on cells of half the lattice's side, and what stands there.

    Attributes
    ----------
    height : (2n, 2n) float32, metres
    kind : (2n, 2n) uint8, ROCK or TIMBER
    """

    lattice: Lattice
    height: Field
    kind: NDArray[np.uint8]
    boulders: list[tuple[float, float, float, float]] = field(default_factory=list)
    buildings: list[tuple[Metres, float]] = field(default_factory=list)
    walls: list[tuple[Metres, float]] = field(default_factory=list)
    wires: list[tuple[Metres, Metres]] = field(default_factory=list)
    """Each wire: (k, 2) places and (k,) elevations."""

    @property
    def fine(self) -> Lattice:
        """The lattice of `height` and `kind`."""
        return Lattice(self.lattice.size_m, self.lattice.margin_m, self.lattice.cell_m / 2)

    def put(self, rows: slice, cols: slice, height_m: Field, kind: int) -> None:
        """Stand something in a window where it rises above what is there."""
        higher = height_m > self.height[rows, cols]
        self.height[rows, cols] = np.where(higher, height_m, self.height[rows, cols])
        self.kind[rows, cols] = np.where(higher, kind, self.kind[rows, cols])


def no_solids(lattice: Lattice) -> Solids:
    """Bare ground."""
    n = 2 * lattice.n
    return Solids(lattice, np.zeros((n, n), np.float32), np.full((n, n), ROCK, np.uint8))


def add_boulder(solids: Solids, rng: np.random.Generator, x: float, y: float, height_m: float, radius_m: float) -> None:
    """A block with a flattish top, steep sides and a corner or two."""
    fine = solids.fine
    rows, cols = fine.window(x, y, radius_m * 1.5)
    px, py = fine.x[:, cols] - x, fine.y[rows] - y
    angle = np.arctan2(py, px)
    edge = 1 + sum(rng.uniform(0.03, 0.13) * np.cos(k * angle + rng.uniform(0, 6)) for k in (2, 3, 4))
    d = np.hypot(px, py) / (radius_m * edge)
    tilt = 1 + rng.uniform(0, 0.22) * np.cos(angle + rng.uniform(0, 6)) * d
    block = height_m * tilt * np.clip(1 - d ** rng.uniform(3.5, 6), 0, 1) ** 0.5
    solids.put(rows, cols, np.where(d < 1, block, 0).astype(np.float32), ROCK)
    solids.boulders.append((x, y, height_m, radius_m))


def scatter_boulders(solids: Solids, ground: Ground, rng: np.random.Generator, count: int, forbidden: Field) -> None:
    """Single boulders all over, and blocks below the cliffs that shed them."""
    lattice = ground.lattice
    for line, height_m in ground.cliffs:
        for _ in range(int(rng.uniform(2, 2 + height_m))):
            foot = line[rng.integers(len(line))]
            step = line[min(len(line) - 1, len(line) // 2 + 1)] - line[len(line) // 2]
            below = np.array([step[1], -step[0]]) / np.hypot(*step)
            x, y = foot + below * rng.uniform(4, 18) + rng.normal(0, 2, 2)
            _try_boulder(solids, ground, rng, x, y, forbidden, crowding_m=1.0)
    for x, y in rng.uniform(6, lattice.size_m - 6, (count * 6, 2)):
        if len(solids.boulders) >= count:
            return
        _try_boulder(solids, ground, rng, x, y, forbidden, crowding_m=5.0)


def _try_boulder(
    solids: Solids, ground: Ground, rng: np.random.Generator, x: float, y: float, forbidden: Field, crowding_m: float
) -> None:
    height_m = float(np.clip(0.55 * np.exp(rng.exponential(0.85)), 0.5, 4.2))
    radius_m = height_m * float(rng.uniform(0.55, 0.95))
    lattice = ground.lattice
    if not (4 < x < lattice.size_m - 4 and 4 < y < lattice.size_m - 4):
        return
    if forbidden.ravel()[lattice.index(np.array([x]), np.array([y]))[0]] > 0:
        return
    if any(np.hypot(x - a, y - b) < radius_m + r + crowding_m for a, b, _, r in solids.boulders):
        return
    add_boulder(solids, rng, x, y, height_m, radius_m)


def add_building(
    solids: Solids, ground: Ground, x: float, y: float, size: tuple[float, float, float], turn: float, wing: bool
) -> None:
    """A house with a gable roof, perhaps with a lower wing at one end; its floor is level."""
    length, width, eaves = size
    parts = [((0.0, 0.0), length, width, eaves)]
    if wing:
        parts.append(((length * 0.3, -width * 0.85), length * 0.4, width * 0.9, eaves * 0.8))
    outlines = []
    floor = ground.at(x, y)
    for (a, b), long_m, wide_m, high_m in parts:
        cx, cy = x + a * np.cos(turn) - b * np.sin(turn), y + a * np.sin(turn) + b * np.cos(turn)
        _stand_block(solids, ground, (cx, cy), (long_m, wide_m, high_m), turn, floor)
        corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * (long_m / 2, wide_m / 2)
        spun = corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        outlines.append(Polygon(spun + np.array([cx, cy])))
    union = unary_union(outlines)
    solids.buildings.append((np.array(union.exterior.coords), eaves + width * 0.2))


def _stand_block(
    solids: Solids, ground: Ground, at: tuple[float, float], size: tuple[float, float, float], turn: float, floor: float
) -> None:
    fine = solids.fine
    length, width, eaves = size
    rows, cols = fine.window(*at, float(np.hypot(length, width)) / 2 + 1)
    px, py = fine.x[:, cols] - at[0], fine.y[rows] - at[1]
    a, b = px * np.cos(turn) + py * np.sin(turn), -px * np.sin(turn) + py * np.cos(turn)
    roof = floor + eaves + 0.8 * (width / 2 - np.abs(b))
    earth = np.repeat(np.repeat(ground.height, 2, 0), 2, 1)[rows, cols]
    inside = (np.abs(a) <= length / 2) & (np.abs(b) <= width / 2)
    solids.put(rows, cols, np.where(inside, roof - earth, 0).astype(np.float32), ROCK)


def add_wall(solids: Solids, rng: np.random.Generator, ways: Field, line: Metres, height_m: float) -> None:
    """A dry stone wall 0.7 m thick with gaps where it has fallen and where a way passes."""
    fine = solids.fine
    distance, _ = distance_to_line(fine, line, 1.5)
    near = np.isfinite(distance) & (ways.repeat(2, 0).repeat(2, 1) <= 0)
    ruin = np.clip(1.05 + 0.35 * smooth_noise(solids.lattice, rng, 9), 0, 1.2).repeat(2, 0).repeat(2, 1)
    block = np.where(near & (np.abs(np.where(near, distance, 9)) < 0.35), height_m * ruin, 0)
    solids.put(slice(None), slice(None), np.where(block > 0.25, block, 0).astype(np.float32), ROCK)
    solids.walls.append((line, height_m))


def scatter_timber(solids: Solids, rng: np.random.Generator, forest: Field, count: int) -> None:
    """Fallen logs 6 to 16 m long and stumps, in the forest."""
    lattice = solids.lattice
    fine = solids.fine
    for x, y in rng.uniform(2, lattice.size_m - 2, (count, 2)):
        if forest.ravel()[lattice.index(np.array([x]), np.array([y]))[0]] <= 0:
            continue
        is_log = rng.random() < 0.5
        half_m, thick_m = (rng.uniform(3, 8), rng.uniform(0.3, 0.6)) if is_log else (0.3, rng.uniform(0.3, 0.9))
        turn = rng.uniform(0, np.pi)
        rows, cols = fine.window(x, y, half_m + 0.5)
        px, py = fine.x[:, cols] - x, fine.y[rows] - y
        a, b = px * np.cos(turn) + py * np.sin(turn), -px * np.sin(turn) + py * np.cos(turn)
        inside = (np.abs(a) < half_m) & (np.abs(b) < max(thick_m / 2, 0.2))
        solids.put(rows, cols, np.where(inside, thick_m, 0).astype(np.float32), TIMBER)


def add_wires(
    solids: Solids, ground: Ground, line: Metres, pole_m: float, offsets_m: tuple[float, ...]
) -> list[tuple[float, float]]:
    """Wires that sag between poles along a straight line; returns the poles."""
    direction = (line[-1] - line[0]) / np.hypot(*(line[-1] - line[0]))
    left = np.array([-direction[1], direction[0]])
    earth = bilinear(ground.height, ground.lattice, line[:, 0], line[:, 1])
    for offset_m in offsets_m:
        places, heights = [], []
        for k in range(len(line) - 1):
            t = np.linspace(0, 1, 24)
            places.append(line[k] + (line[k + 1] - line[k]) * t[:, None] + left * offset_m)
            sag_m = 0.00035 * float(np.hypot(*(line[k + 1] - line[k]))) ** 2
            heights.append(earth[k] + (earth[k + 1] - earth[k]) * t + pole_m - 4 * sag_m * t * (1 - t))
        solids.wires.append((np.concatenate(places), np.concatenate(heights)))
    return [(float(x), float(y)) for x, y in line]
