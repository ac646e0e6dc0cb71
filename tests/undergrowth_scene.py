"""A forest flown over, whose undergrowth stands in other ways than the estimate of its density takes it to.

The estimate takes leaves at random angles, spread evenly through the running layer, on all of the ground. Here plants
fill a layer of their own, thin out upwards or downwards, stand in clumps, hold their leaves at one angle, grow over a
carpet of heather or bilberry; or the receiver is blind for a while after each return. Pulses come down aslant from two
flight lines and pass one slice of 10 cm after the other; the number of leaves met on the way is one of Poisson, with
the mean that Beer and Lambert's law gives. Ground and classes are found anew in the returns, as in a run.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Grid
from pipeline.returns.cloud import Cloud

Numbers = NDArray[np.float64]

RUNNING_LAYER_M = (0.3, 2.5)
SLICE_M = 0.1
SLICES = (np.arange(45, 0, -1) - 0.5) * SLICE_M
"""Middles of the slices of undergrowth from 4.5 m down to the ground, in metres above it."""
CROWN_LAYER_M = (6.0, 16.0)
CROWN_DENSITY = 0.12
"""m2/m3; under such crowns half of the pulses come through."""
CROWN_SHARE = 0.75
LEAVES_MET = 3
"""Returns that one layer can give a pulse."""
GO_ON = 0.8
"""Chance that a pulse has enough energy left after a leaf to give another return."""
CELL_M = 0.5
SIDE_M = 100.0
FLYING_M = 600.0
"""Height above ground of two flight lines, which pass 60 m outside the scene on either side."""


@dataclass(frozen=True)
class Way:
    """How undergrowth stands, and how it is flown. The default is what the estimate takes it to be.

    Attributes
    ----------
    name : str
    layer_m : heights above ground between which its leaves are
    upwards : how their density changes through that layer: 1 they thin out to nothing upwards, -1 downwards, 0 not
    share_of_ground, clump_m : what share of the ground it stands on, in clumps about that wide
    leaves : "at random", "lie", "stand", "aslant": distributions of leaf angles of de Wit (1965, Photosynthesis of
        leaf canopies): spherical, planophile, erectophile, plagiophile
    carpet_m, carpet_density : height and plant-area density (m2/m3) of a carpet on half of the ground
    steps_over_m : height from which plants slow the runner, in truth
    blind_m : the receiver gives no return within so many metres after one
    lines_apart_m : by how much the two flight lines differ in height
    slope : rise over run of the ground
    stand_m : how far density stays about the same; 0 for one slow rise from side to side
    """

    name: str = "as the estimate has it"
    layer_m: tuple[float, float] = RUNNING_LAYER_M
    upwards: float = 0.0
    share_of_ground: float = 1.0
    clump_m: float = 1.5
    leaves: str = "at random"
    carpet_m: float = 0.0
    carpet_density: float = 0.0
    steps_over_m: float = RUNNING_LAYER_M[0]
    blind_m: float = 0.0
    lines_apart_m: float = 0.0
    slope: float = 0.1
    stand_m: float = 8.0


@dataclass(frozen=True)
class Scene:
    """Returns of a scene, and the truth.

    Attributes
    ----------
    cloud : Cloud
    grid : Grid
    density : (rows, cols) area of the plants that slow a runner, carpet included, per volume between 0.3 and 2.5 m
        above the ground, m2/m3
    """

    cloud: Cloud
    grid: Grid
    density: Numbers


def fly(way: Way, /, *, seed: int, pulses_per_m2: float = 6.0) -> Scene:
    """A scene of `way`, flown; the same seed gives the same stands and the same crowns whatever the way."""
    grid = Grid.covering((0.0, 0.0, SIDE_M, SIDE_M), cell_m=CELL_M, crs="EPSG:25832")
    stands, rng = np.random.default_rng((seed, 1)), np.random.default_rng((seed, 2))
    density = _densities(grid.shape, way, stands)
    crowns = np.where(_patches(grid.shape, 3.0, CROWN_SHARE, stands), CROWN_DENSITY, 0.0)
    clumps = _patches(grid.shape, way.clump_m, way.share_of_ground, stands) / way.share_of_ground
    carpet = _patches(grid.shape, 8.0, 0.5, stands) * way.carpet_density
    plants = density * clumps
    slices = _plants_in_slices(way)
    carpet_ratio = np.clip((way.carpet_m - SLICES) / SLICE_M + 0.5, 0, 1)
    bottom, top = RUNNING_LAYER_M
    slows = np.abs(SLICES - (way.steps_over_m + top) / 2) < (top - way.steps_over_m) / 2
    truth = (plants * slices[slows].sum() + carpet * carpet_ratio[slows].sum()) * SLICE_M / (top - bottom)
    cloud = _returns(grid, way, (plants, slices), (carpet, carpet_ratio), crowns, rng, pulses_per_m2)
    return Scene(cloud, grid, truth)


def facing_ratio(leaves: str, zenith: Numbers) -> Numbers:
    """Share of the leaves' area that stands in the way of pulses at these zenith angles (radians), same shape.

    The projection of a leaf of one inclination whose azimuth is random (Warren Wilson 1960), over the distribution of
    inclinations.
    """
    angle = (np.arange(900) + 0.5) * np.pi / 2 / 900
    weight = {
        "at random": np.sin(angle),
        "lie": 1 + np.cos(2 * angle),
        "stand": 1 - np.cos(2 * angle),
        "aslant": 1 - np.cos(4 * angle),
    }[leaves]
    steps = np.linspace(0, np.radians(60), 61)
    product = 1 / np.tan(np.maximum(steps[:, None], 1e-6)) / np.tan(angle)
    turn = np.arccos(np.clip(product, -1, 1))
    projected = np.cos(steps[:, None]) * np.cos(angle) * (1 + 2 / np.pi * (np.tan(turn) - turn))
    return np.interp(zenith, steps, projected @ (weight / weight.sum()))


def _plants_in_slices(way: Way) -> Numbers:
    """Relative density of each slice; the mean over the plants' own layer is 1."""
    bottom, top = way.layer_m
    share = (SLICES - bottom) / (top - bottom)
    inside = (share > 0) & (share < 1)
    shape = np.where(inside, 1 + way.upwards * (1 - 2 * share), 0.0)
    return np.asarray(shape / shape[inside].mean())


def _densities(shape: tuple[int, int], way: Way, rng: np.random.Generator) -> Numbers:
    """Mean density of each cell, m2/m3: logarithms spread evenly from 0.02 to 2.5, so that no limit falls in a gap."""
    waves = ndimage.gaussian_filter(rng.normal(size=shape), way.stand_m / CELL_M) if way.stand_m else _ramp(shape)
    order = np.argsort(np.argsort(waves, axis=None)).reshape(shape) / waves.size
    return np.asarray(np.exp(np.log(0.02) + order * np.log(2.5 / 0.02)))


def _ramp(shape: tuple[int, int]) -> Numbers:
    return np.add.outer(np.arange(shape[0]) / 7, np.arange(shape[1]) * 1.0)


def _patches(shape: tuple[int, int], wide_m: float, share: float, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Cells of patches about that wide that cover this share of the ground."""
    waves = ndimage.gaussian_filter(rng.normal(size=shape), wide_m / 3 / CELL_M, mode="wrap")
    return np.asarray(waves <= np.quantile(waves, share))


def _returns(
    grid: Grid,
    way: Way,
    plants: tuple[Numbers, Numbers],
    carpet: tuple[Numbers, Numbers],
    crowns: Numbers,
    rng: np.random.Generator,
    pulses_per_m2: float,
) -> Cloud:
    """The returns of all pulses; plants and carpet are density by cell and the share of it in each slice."""
    n = int(pulses_per_m2 * SIDE_M**2)
    foot = rng.uniform(0.3, SIDE_M - 0.3, (n, 2))
    line = rng.integers(1, 3, n)
    tangent = np.where(line == 1, foot[:, 0] + 60, foot[:, 0] - SIDE_M - 60) / FLYING_M
    path = np.hypot(1, tangent)

    def under(raster: Numbers, height: Numbers) -> Numbers:
        east = np.clip(foot[:, 0, None] - tangent[:, None] * height, 0.01, SIDE_M - 0.01)
        north = np.broadcast_to(foot[:, 1, None], east.shape)
        return np.asarray(raster.ravel()[grid.cell_index(east.ravel(), north.ravel())].reshape(east.shape))

    facing = facing_ratio(way.leaves, np.arctan(np.abs(tangent)))[:, None] * path[:, None]
    depth = facing * under(plants[0], SLICES) * plants[1] * SLICE_M
    depth += 0.5 * path[:, None] * under(carpet[0], SLICES) * carpet[1] * SLICE_M
    crown = np.linspace(CROWN_LAYER_M[1], CROWN_LAYER_M[0], 20)
    step = (CROWN_LAYER_M[1] - CROWN_LAYER_M[0]) / len(crown)
    crown_depth = 0.5 * path[:, None] * under(crowns, crown) * step
    above = np.concatenate(
        (_leaves_met(crown_depth, crown, step, rng), _leaves_met(depth, SLICES, SLICE_M, rng), np.zeros((n, 1))), axis=1
    )
    pulse, height, number, count = _seen(above, way.blind_m, rng)
    east, north = foot[pulse, 0] - tangent[pulse] * height, foot[pulse, 1]
    level = _terrain(np.column_stack((east, foot[pulse, 1])), way.slope) + way.lines_apart_m * (line[pulse] - 1.5)
    at = np.column_stack((east, north, level + height + rng.normal(0, 0.02, len(pulse))))
    return Cloud.of(
        at,
        gps_time=(pulse + 1) * 1e-5,
        return_number=number,
        n_returns=count,
        flight_line=line[pulse].astype(np.uint16),
        scan_angle_deg=np.degrees(np.arctan(tangent[pulse])).astype(np.float32),
    )


def _terrain(place: Numbers, slope: float) -> Numbers:
    """Heights of a slope with waves of 0.6 m over 30 m, in metres."""
    east, north = place.T
    return np.asarray(200 + slope * east + 0.3 * np.sin(2 * np.pi * east / 30) * np.cos(2 * np.pi * north / 37))


def _leaves_met(depth: Numbers, middles: Numbers, step_m: float, rng: np.random.Generator) -> Numbers:
    """(n, LEAVES_MET) heights of the first leaves on the way down; NaN where there are no more.

    Parameters
    ----------
    depth : (n, slices) mean number of leaves met in each slice
    """
    passed = np.cumsum(depth, axis=1)
    at = np.cumsum(rng.exponential(1.0, (len(depth), LEAVES_MET)), axis=1)
    which = np.stack([(passed < leaf[:, None]).sum(axis=1) for leaf in at.T], axis=1)
    height = np.append(middles, np.nan)[which]
    return np.asarray(height + rng.uniform(-0.5, 0.5, height.shape) * step_m)


def _seen(
    height: Numbers, blind_m: float, rng: np.random.Generator
) -> tuple[NDArray[np.intp], Numbers, NDArray[np.uint8], NDArray[np.uint8]]:
    """Pulse, height, number and count of all returns, of (n, k) heights from top to ground that a pulse may meet."""
    n, k = height.shape
    energy, last = np.ones(n, np.bool_), np.full(n, np.inf)
    is_seen = np.zeros(height.shape, np.bool_)
    for column in range(k):
        here = height[:, column]
        exists = np.isfinite(here) & energy
        is_seen[:, column] = exists & (last - here >= blind_m)
        last = np.where(is_seen[:, column], here, last)
        energy &= ~exists | (rng.random(n) < GO_ON)
    rank = np.cumsum(is_seen, axis=1)
    pulse, column = np.nonzero(is_seen)
    return pulse, height[pulse, column], rank[pulse, column].astype(np.uint8), rank[pulse, -1].astype(np.uint8)
