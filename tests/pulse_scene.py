"""Pulses through a forest of known density: the arithmetic truth the vegetation tests compare with.

Leaves are spread at random in layers; a vertical pulse meets the first one of a layer after an exponential depth of
rate k times density (Beer-Lambert), and goes on below it with what energy is left. No geometry, no tuning.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.lattice.grid import Grid, Heights
from pipeline.returns.cloud import Cloud
from pipeline.settings import LayerSettings, VegetationSettings
from pipeline.terrain.profile import profile_grids
from pipeline.terrain.surface import canopy_height
from pipeline.vegetation.draft import VegetationDraft, draft_vegetation

EXTINCTION = 0.5
RUNNING_LAYER = (0.3, 2.5)
CROWN_LAYER = (6.0, 16.0)
MAX_RETURNS = 5


@dataclass(frozen=True)
class Forest:
    """Returns of a forest on flat ground."""

    cloud: Cloud
    asprs_class: NDArray[np.uint8]
    height_m: NDArray[np.float32]


def shoot(
    grid: Grid, understorey: Heights, crown: Heights, /, *, pulses_per_m2: float, seed: int, go_on: float = 0.8
) -> Forest:
    """Returns of pulses spread evenly over a grid with these plant-area densities (m2/m3) per cell."""
    rng = np.random.default_rng(seed)
    west, south, east, north = grid.bounds
    n = int(pulses_per_m2 * (east - west) * (north - south))
    place = np.column_stack((rng.uniform(west, east, n), rng.uniform(south, north, n)))
    cell = grid.cell_index(place[:, 0], place[:, 1])
    found = [
        _contacts(crown.ravel()[cell], CROWN_LAYER, rng),
        _contacts(understorey.ravel()[cell], RUNNING_LAYER, rng),
        np.zeros((n, 1)),
    ]
    height = np.concatenate(found, axis=1)
    is_plant = np.concatenate([np.full(part.shape, i < 2) for i, part in enumerate(found)], axis=1)
    exists = np.isfinite(height)
    # Each plant takes part of the energy: the pulse goes on with the chance `go_on`, and up to the last free slot.
    survives = rng.random(height.shape) < go_on
    blocked = np.cumsum(exists & is_plant & ~survives, axis=1)
    reaches = np.concatenate([np.zeros((n, 1)), blocked[:, :-1]], axis=1) == 0
    rank = np.cumsum(exists, axis=1)
    seen = exists & reaches & (rank <= MAX_RETURNS)
    pulse, _ = np.nonzero(seen)
    number = rank[seen].astype(np.uint8)
    count = np.max(rank * seen, axis=1)[pulse].astype(np.uint8)
    enh = np.column_stack((place[pulse], height[seen]))
    cloud = Cloud.of(enh, gps_time=(pulse + 1) * 1e-5, return_number=number, n_returns=count)
    classes = np.where(is_plant[seen], np.where(height[seen] > 2, 5, 4), 2).astype(np.uint8)
    return Forest(cloud, classes, height[seen].astype(np.float32))


def forest_draft(
    grid: Grid,
    understorey: Heights,
    crown: Heights,
    /,
    *,
    settings: VegetationSettings | None = None,
    pulses_per_m2: float = 6.0,
    seed: int = 5,
) -> VegetationDraft:
    """The vegetation draft of a forest on flat ground."""
    settings = settings or VegetationSettings()
    forest = shoot(grid, understorey, crown, pulses_per_m2=pulses_per_m2, seed=seed)
    canopy = canopy_height(forest.cloud, forest.asprs_class, forest.height_m, grid)
    profile = profile_of(forest, grid, settings)
    return draft_vegetation(profile, np.zeros(grid.shape, np.float32), canopy, grid, settings=settings)


def crown_field(grid: Grid, tops: NDArray[np.float64], /, *, radius_m: float, density: float = 0.4) -> Heights:
    """(rows, cols) crown density of round crowns around these places (n, 2)."""
    east, north = np.meshgrid(*grid.centres())
    if not len(tops):
        return np.zeros(grid.shape, np.float32)
    distance = cKDTree(tops).query(np.column_stack((east.ravel(), north.ravel())))[0].reshape(grid.shape)
    return np.where(distance <= radius_m, density, 0).astype(np.float32)


def _contacts(
    density: NDArray[np.float64], layer: tuple[float, float], rng: np.random.Generator
) -> NDArray[np.float64]:
    """(n, 4) heights of the leaves a pulse meets on its way down through a layer; NaN where there is none."""
    bottom, top = layer
    with np.errstate(divide="ignore"):
        steps = rng.exponential(1.0, (len(density), 4)) / (EXTINCTION * density[:, None])
    height = top - np.cumsum(steps, axis=1)
    return np.where(height >= bottom, height, np.nan)


def profile_of(forest: Forest, grid: Grid, layers: LayerSettings) -> dict[str, Heights]:
    """The profile grids of a forest."""
    return profile_grids(
        forest.cloud,
        forest.asprs_class,
        forest.height_m,
        grid,
        running_bottom_m=layers.running_bottom_m,
        visibility_bottom_m=layers.visibility_bottom_m,
        running_top_m=layers.running_top_m,
    )
