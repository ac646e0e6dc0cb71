"""What stray low returns do to the ground of real tiles: `python -m tests.benchmarks.strays` prints the table.

Returns 0.3 to 5 m below the ground are put into the tiles, each of a pulse of its own, 25 m and more apart;
ground is found with and without them. The measuring data are found through TUSSOCK_DATA.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.lattice.grid import EastNorthHeight, Grid, Heights
from pipeline.points.classes import classify_returns
from pipeline.returns.cloud import Cloud
from pipeline.settings import PointsSettings, TerrainSettings
from pipeline.terrain.surface import surface_from_ground
from tests.benchmarks.ground import heights_at, read_cloud

OWN = PointsSettings(ground_from="own")
TILES = {
    "bc_forest": ("bc_forest/*.laz", 0.5),
    "lava_forest": ("lava_forest/*.laz", 0.5),
    "boreal": ("boreal/*.laz", 0.5),
    "lake_edge": ("lake_edge/*.laz", 1.0),
    "classes": ("classes/*.laz", 0.5),
    "pine_plots": ("pine_plots/*.laz", 0.5),
    "lava_cone": ("real_faults/lava_cone.laz", 0.5),
    "sea_cliff": ("real_faults/sea_cliff.laz", 0.5),
}
"""Real tiles, and the side of the cells in which the bare earth is compared."""
EVERY_M = 50.0
"""Distance of the lattice on which strays are planted; each is moved by at most a quarter of it."""
ROUNDS = 8
"""How often strays are planted in each tile, elsewhere each time: a thousand and more in all."""
DEPTHS_M = (0.3, 5.0)
NEAR_M = 3.0
"""How near a stray may change something."""
CHANGED_M = 0.15
"""Change of the bare earth that counts: below it lies the noise of a survey."""


@dataclass(frozen=True)
class Planted:
    """What came of the strays of some tiles.

    Attributes
    ----------
    n : int
        Strays planted.
    as_ground : int
        Of them, called ground.
    hollows : int
        Of them, those below which the bare earth sank by more than `CHANGED_M` within `NEAR_M`.
    deepest_m : float
        Most that it sank anywhere.
    far_m2 : float
        Ground changed by more than `CHANGED_M` farther than `NEAR_M` from any.
    """

    n: int
    as_ground: int
    hollows: int
    deepest_m: float
    far_m2: float


def plant(cloud: Cloud, surface: Heights, grid: Grid, /, *, seed: int, every_m: float = EVERY_M) -> EastNorthHeight:
    """(n, 3) strays below the bare earth, inside the outermost 5 m of the survey, where a surface is known."""
    random = np.random.default_rng(seed)
    west, south, east, north = (
        cloud.east.min() + 5,
        cloud.north.min() + 5,
        cloud.east.max() - 5,
        cloud.north.max() - 5,
    )
    places = np.stack(np.meshgrid(np.arange(west, east, every_m), np.arange(south, north, every_m)), axis=-1)
    places = places.reshape(-1, 2) + random.uniform(-every_m / 4, every_m / 4, (places.shape[0] * places.shape[1], 2))
    is_seen = cKDTree(cloud.en).query(places)[0] < 2
    level = heights_at(surface, grid, places[:, 0], places[:, 1])
    depth = random.uniform(*DEPTHS_M, len(places))
    return np.column_stack((places, level - depth))[is_seen & np.isfinite(level)]


def ground_of(cloud: Cloud, grid: Grid, /) -> tuple[NDArray[np.bool_], Heights]:
    """Which returns are ground or water, and the bare earth through them."""
    is_earth = np.isin(classify_returns(cloud, settings=OWN).asprs_class, (2, 9))
    return is_earth, surface_from_ground(cloud.enh[is_earth], grid, settings=TerrainSettings())


def with_strays(cloud: Cloud, strays: EastNorthHeight, /) -> Cloud:
    """The cloud and, after it, strays: single returns of pulses of their own, on a flight line of the cloud."""
    late = cloud.gps_time.max() + 1 + np.arange(len(strays))
    line = np.full(len(strays), cloud.flight_line[0])
    return Cloud.join([cloud, replace(Cloud.of(strays), gps_time=late, flight_line=line)])


def measure(tile: Path, /, *, cell_m: float, seed: int) -> Planted:
    """Plant strays in a tile and compare."""
    cloud = read_cloud(tile)
    bounds = (cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max())
    grid = Grid.covering(bounds, cell_m=cell_m, crs="survey")
    _, before = ground_of(cloud, grid)
    strays = plant(cloud, before, grid, seed=seed)
    if not len(strays):
        return Planted(0, 0, 0, 0.0, 0.0)
    is_earth, after = ground_of(with_strays(cloud, strays), grid)
    sunk = np.nan_to_num(before - after)
    east, north = grid.centres()
    centres = np.stack(np.meshgrid(east, north), axis=-1)
    away, nearest = cKDTree(strays[:, :2]).query(centres.reshape(-1, 2))
    away, nearest = np.asarray(away).reshape(grid.shape), np.asarray(nearest).reshape(grid.shape)
    hollow = np.unique(nearest[(sunk > CHANGED_M) & (away <= NEAR_M)])
    far = (np.abs(sunk) > CHANGED_M) & (away > NEAR_M)
    n_ground = int(is_earth[len(cloud) :].sum())
    return Planted(len(strays), n_ground, len(hollow), float(sunk.max()), float(far.sum()) * cell_m**2)


def main() -> None:
    """Print the table."""
    if "TUSSOCK_DATA" not in os.environ:
        raise SystemExit("Set TUSSOCK_DATA to the folder of the measuring data.")
    data = Path(os.environ["TUSSOCK_DATA"])
    print("tiles: strays planted, called ground, hollows within 3 m, deepest m, m2 changed farther away")
    for name, (pattern, cell_m) in TILES.items():
        tiles = sorted(data.glob(pattern)) * ROUNDS
        found = [measure(tile, cell_m=cell_m, seed=at) for at, tile in enumerate(tiles)]
        print(
            f"{name}: {sum(one.n for one in found)}, {sum(one.as_ground for one in found)}, "
            f"{sum(one.hollows for one in found)}, {max((one.deepest_m for one in found), default=0):.2f}, "
            f"{sum(one.far_m2 for one in found):.1f}"
        )


if __name__ == "__main__":
    main()
