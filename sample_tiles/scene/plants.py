"""What grows: stands of trees with crowns and stems, undergrowth of graded density, bushes, grass.

Plant-area density is m2 of plant area in a m3 of air. Crowns and bushes fill a volume of half-metre cells above the
ground; undergrowth is one density between 0.3 and 2.5 m above it, of which `truth` is the mean and `clumped` what
stands in each half-metre cell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage as ndi

from .fields import Field, Lattice, Metres, smooth_noise

LAYER_M = 0.5
LAYERS = 64
UNIT = 100.0
"""Volume cells hold plant-area density in hundredths, as uint8: at most 2.55 m2/m3."""
DENSITIES = (0.02, 0.20, 0.62, 1.35)
"""Undergrowth of the four grades: none, slow running, walk, fight."""


@dataclass
class Plants:
    """Everything that grows, on the lattice.

    Attributes
    ----------
    volume : (n * n, LAYERS) uint8
        Plant-area density of crowns and bushes, lowest layer first.
    clumped, truth : (n, n) float32, m2/m3
        Undergrowth between 0.3 and 2.5 m.
    stems : (k, 4) float64
        x, y, radius and height of each stem in metres.
    stem_of : (n * n,) int32
        The stem in or beside each cell; -1 for none.
    grass_m, grass_share : (n, n) float32
        How high the grass stands and how often it stops a pulse.
    """

    volume: NDArray[np.uint8]
    clumped: Field
    truth: Field
    stems: Metres
    stem_of: NDArray[np.int32]
    grass_m: Field
    grass_share: Field


def stands(lattice: Lattice, rng: np.random.Generator, forest: Field) -> NDArray[np.uint8]:
    """0 no trees, 1 spruce, 2 beech, 3 open pine, 4 young thicket; smooth patches some 60 m across."""
    kind = np.full((lattice.n, lattice.n), 1, np.uint8)
    first, second = smooth_noise(lattice, rng, 90), smooth_noise(lattice, rng, 75)
    kind[first > 0.15] = 2
    kind[(second > 0.75) & (first < 0.6)] = 3
    kind[second < -1.15] = 4
    kind[forest <= 0] = 0
    return kind


def undergrowth(
    lattice: Lattice, rng: np.random.Generator, stand: NDArray[np.uint8], bare: Field
) -> tuple[Field, Field]:
    """Undergrowth density: its mean in each patch, and the clumps it really grows in."""
    patch = smooth_noise(lattice, rng, 48) + 0.35 * smooth_noise(lattice, rng, 15)
    grade = np.digitize(patch, [0.15, 0.75, 1.3])
    grade[stand == 4] = 3
    truth = np.asarray(DENSITIES, np.float32)[grade]
    truth[bare > 0] = 0
    truth[stand == 0] = np.minimum(truth, 0.03)[stand == 0]
    clumps = np.exp(0.75 * smooth_noise(lattice, rng, 3.0) - 0.75**2 / 2)
    return (truth * clumps).astype(np.float32), truth


@dataclass(frozen=True)
class Species:
    """How one kind of tree stands and what its crown is like."""

    spacing_m: float
    height_m: tuple[float, float]
    crown_base: tuple[float, float]
    crown_radius: tuple[float, float]
    density: tuple[float, float]
    is_cone: bool


SPECIES = {
    1: Species(3.9, (17, 27), (0.25, 0.5), (0.085, 0.12), (0.35, 0.75), True),
    2: Species(5.6, (16, 26), (0.3, 0.5), (0.14, 0.20), (0.18, 0.45), False),
    3: Species(6.5, (13, 21), (0.5, 0.7), (0.11, 0.16), (0.2, 0.45), False),
    4: Species(2.1, (3.5, 6.5), (0.18, 0.3), (0.16, 0.22), (0.35, 0.7), True),
}


def plant_trees(
    lattice: Lattice, rng: np.random.Generator, stand: NDArray[np.uint8], clear: Field
) -> tuple[NDArray[np.uint8], Metres]:
    """The volume of all crowns, and the stems; no stem stands where `clear` is set."""
    volume = np.zeros((lattice.n * lattice.n, LAYERS), np.uint8)
    stems = []
    for kind, species in SPECIES.items():
        low, high = -lattice.margin_m + 2, lattice.size_m + lattice.margin_m - 2
        ticks = np.arange(low, high, species.spacing_m)
        places = np.stack(np.meshgrid(ticks, ticks), -1).reshape(-1, 2)
        places = places + rng.uniform(-0.48, 0.48, places.shape) * species.spacing_m
        cell = lattice.index(places[:, 0], places[:, 1])
        keep = (stand.ravel()[cell] == kind) & (clear.ravel()[cell] <= 0) & (rng.random(len(cell)) < 0.88)
        for x, y in places[keep]:
            stems.append(_grow(volume, lattice, rng, float(x), float(y), species))
    return volume, np.array(stems, np.float64).reshape(-1, 4)


def _grow(
    volume: NDArray[np.uint8], lattice: Lattice, rng: np.random.Generator, x: float, y: float, species: Species
) -> tuple[float, float, float, float]:
    """Add one tree's crown to the volume and return its stem."""
    height = rng.uniform(*species.height_m)
    base = height * rng.uniform(*species.crown_base)
    radius = height * rng.uniform(*species.crown_radius)
    rows, cols = lattice.window(x, y, radius)
    d = np.hypot(lattice.x[:, cols] - x, lattice.y[rows] - y).ravel()
    level = (np.arange(LAYERS) + 0.5) * LAYER_M
    up = (level - base) / (height - base)
    if species.is_cone:
        reach = radius * np.clip(1 - up, 0, 1) ** 0.8
    else:
        reach = radius * np.sqrt(np.clip(1 - (2 * up - 1) ** 2, 0, 1))
    inside = (d[:, None] <= reach[None, :]) & (up > 0)[None, :] & (up < 1)[None, :]
    clumps = rng.random(inside.shape, np.float32)
    density = rng.uniform(*species.density) * UNIT
    values = np.where(inside & (clumps > 0.35), density * (0.5 + 1.6 * clumps), 0)
    at = (np.arange(lattice.n)[rows, None] * lattice.n + np.arange(lattice.n)[None, cols]).ravel()
    volume[at] = np.clip(np.maximum(volume[at], values), 0, 255).astype(np.uint8)
    return x, y, max(0.04, 0.0075 * height * rng.uniform(0.7, 1.4)), height * 0.92


def add_bushes(volume: NDArray[np.uint8], lattice: Lattice, rng: np.random.Generator, places: Metres) -> None:
    """Dense evergreen bushes, 0.8 to 3 m high: what a boulder is easily taken for."""
    for x, y in places:
        height, radius = rng.uniform(0.8, 3.0), rng.uniform(0.5, 1.6)
        rows, cols = lattice.window(x, y, radius)
        d = np.hypot(lattice.x[:, cols] - x, lattice.y[rows] - y).ravel() / radius
        level = (np.arange(LAYERS) + 0.5) * LAYER_M / height
        inside = (d[:, None] ** 2 + level[None, :] ** 3) <= 1
        at = (np.arange(lattice.n)[rows, None] * lattice.n + np.arange(lattice.n)[None, cols]).ravel()
        values = np.where(inside, rng.uniform(150, 250), 0)
        volume[at] = np.maximum(volume[at], values).astype(np.uint8)


def stem_index(lattice: Lattice, stems: Metres) -> NDArray[np.int32]:
    """(n * n,) the stem in or beside each cell, -1 for none."""
    index = np.full(lattice.n * lattice.n, -1, np.int32)
    for dx in (-0.25, 0.0, 0.25):
        for dy in (-0.25, 0.0, 0.25):
            index[lattice.index(stems[:, 0] + dx, stems[:, 1] + dy)] = np.arange(len(stems))
    return index


def canopy_top(volume: NDArray[np.uint8], n: int) -> Field:
    """(n, n) height above ground of the highest filled cell."""
    top = np.zeros(len(volume), np.float32)
    for layer in range(LAYERS):
        top[volume[:, layer] > 0] = (layer + 1) * LAYER_M
    return top.reshape(n, n)


def grass(lattice: Lattice, rng: np.random.Generator, openness: Field, trodden: Field) -> tuple[Field, Field]:
    """How high grass stands, and the share of pulses it stops: meadow 1, rough 2, forest floor 0."""
    height = np.select([openness == 1, openness == 2], [0.25, 0.38], 0.12).astype(np.float32)
    share = np.select([openness == 1, openness == 2], [0.25, 0.35], 0.04).astype(np.float32)
    share *= np.clip(1 + 0.4 * smooth_noise(lattice, rng, 12), 0.1, 2)
    share[trodden > 0] = 0
    return height, np.clip(ndi.gaussian_filter(share, 1), 0, 0.8)
