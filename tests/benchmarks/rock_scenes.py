"""Classified clouds with known objects in them, to fit and to judge the rock of the draft by.

Real tiles come from the measuring data (TUSSOCK_DATA) and get objects planted; made scenes come from the project's own
scene maker; open scenes are a plain slope with objects planted.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid
from pipeline.points.classes import classify_returns, embedded, own_ground
from pipeline.points.levelling import find_levelling, levelled, line_cells, near_ground
from pipeline.returns.cloud import Cloud
from pipeline.settings import PointsSettings, RockSettings
from sample_tiles.scene import records
from sample_tiles.scene.place import make_place
from sample_tiles.scene.pulses import fly
from tests.benchmarks import planting
from tests.benchmarks.rock_shapes import Planted

SETTINGS = RockSettings()
"""The settings as they are shipped, by which all is measured."""
CRS = "EPSG:32633"
"""Metres, like any other projected system would be: nothing measured depends on where the tiles lie."""
TILES = {
    "bc_1": "bc_forest/bc_1.laz",
    "bc_2": "bc_forest/bc_2.laz",
    "bc_3": "bc_forest/bc_3.laz",
    "boreal": "boreal/boreal.laz",
    "lava": "lava_forest/hawaii_forest_lava_150m.laz",
    "lake": "lake_edge/lake_edge.laz",
    "crop_1": "classes/crop_1.laz",
    "bat": "classes/bat.laz",
    **{f"pine_{i}": f"pine_plots/TEAK_0{i}.laz" for i in range(43, 53)},
}
"""Name and file, below TUSSOCK_DATA, of the real tiles."""
JUDGE_TILES = ("bc_3", "boreal")
"""Tiles that nothing is fitted to, to measure on."""
OPEN_KINDS = {
    **{"boulder": 60, "bush": 50, "young spruce": 30, "stump": 20, "root plate": 20, "log pile": 15, "hut": 10},
    **{"brush pile": 20, "ant hill": 15, "log": 10},
}
"""Objects planted on an open slope."""
PER_KIND = {
    **{"boulder": 10, "bush": 5, "young spruce": 5, "stump": 4, "root plate": 2, "log pile": 1, "hut": 0.4},
    **{"brush pile": 3, "ant hill": 2, "log": 2},
}
"""Objects planted in a real tile for each 0.6 ha of it, boulders at 17 a hectare: far more than a forest has."""


@dataclass(frozen=True)
class Scene:
    """A classified cloud with known objects in it."""

    name: str
    cloud: Cloud
    asprs_class: NDArray[np.uint8]
    height_above_m: NDArray[np.float32]
    grid: Grid
    things: list[Planted]
    reaching_per_m2: NDArray[np.float64]
    is_planted: bool

    @property
    def hectares(self) -> float:
        """Area of the grid."""
        return self.grid.rows * self.grid.cols * self.grid.cell_m**2 / 1e4


def data_folder() -> Path:
    """The folder of the measuring data."""
    if "TUSSOCK_DATA" not in os.environ:
        raise SystemExit("set TUSSOCK_DATA to the folder with bc_forest/, boreal/, ...")
    return Path(os.environ["TUSSOCK_DATA"])


def read_tile(name: str) -> Cloud:
    """A real tile of the measuring data."""
    return read_laz(data_folder() / TILES[name])


def read_laz(path: Path) -> Cloud:
    """The returns of a file, without noise and made-up points."""
    las = laspy.read(path)
    has_time = "gps_time" in las.point_format.dimension_names
    cloud = Cloud.of(
        np.column_stack((las.x, las.y, las.z)),
        intensity=np.asarray(las.intensity),
        return_number=np.asarray(las.return_number).astype(np.uint8),
        n_returns=np.asarray(las.number_of_returns).astype(np.uint8),
        gps_time=np.asarray(las.gps_time, np.float64) if has_time else np.zeros(len(las)),
        flight_line=np.asarray(las.point_source_id).astype(np.uint16),
    )
    return cloud.take((cloud.return_number > 0) & ~np.isin(np.asarray(las.classification), (7, 18, 65, 66)))


def grid_of(cloud: Cloud) -> Grid:
    """The grid a survey of this density would get, over the cloud."""
    bounds = (cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max())
    area = (bounds[2] - bounds[0]) * (bounds[3] - bounds[1])
    per_m2 = float(cloud.is_last.sum()) / area
    return Grid.covering(bounds, cell_m=0.5 if per_m2 >= 3 else 1.0, crs=CRS)


def thinned(cloud: Cloud, share: float, /) -> Cloud:
    """The cloud with a share of its pulses, drawn with a fixed seed."""
    _, pulse = np.unique(np.column_stack((cloud.gps_time, cloud.flight_line)), axis=0, return_inverse=True)
    keep = np.random.default_rng(5).random(int(pulse.max()) + 1) < share
    return cloud.take(keep[pulse.ravel()])


def planted_scene(name: str, seed: int, *, with_things: bool = True, share: float = 1.0) -> Scene:
    """A real tile, or a share of its pulses, with objects planted in it unless told otherwise."""
    cloud = read_tile(name) if share == 1.0 else thinned(read_tile(name), share)
    before = classify_returns(cloud, settings=PointsSettings())
    things: list[Planted] = []
    rng = np.random.default_rng(seed)
    grid = grid_of(cloud)
    if with_things:
        share = grid.rows * grid.cols * grid.cell_m**2 / 6000
        counts = {kind: max(1, round(n * share)) for kind, n in PER_KIND.items()}
        things = planting.scatter(cloud, rng, counts=counts)
    reaching = planting.reaching_per_m2(cloud, before.height_above_m, things)
    if things:
        cloud = planting.plant(cloud, before.height_above_m, things, rng)
    after = classify_returns(cloud, settings=PointsSettings()) if things else before
    return Scene(f"{name}/{seed}", cloud, after.asprs_class, after.height_above_m, grid, things, reaching, True)


def made_cloud(seed: int, per_m2: float, size_m: float = 250.0) -> tuple[Cloud, dict[str, gpd.GeoDataFrame]]:
    """A cloud of the project's scene maker and its truth."""
    place = make_place(seed=seed, size_m=size_m)
    r = records.join(fly(place, seed=seed, pulses_per_m2=per_m2))
    origin = (500000.0, 6000000.0)
    cloud = Cloud.of(
        np.column_stack((r.x + origin[0], r.y + origin[1], r.z)),
        intensity=r.intensity,
        return_number=r.return_number,
        n_returns=r.n_returns,
        gps_time=r.gps_time,
        flight_line=r.flight_line,
    )
    return cloud, records.truth_tables(place, origin)


def made_scene(seed: int, per_m2: float) -> Scene:
    """A made scene with its own boulders as the known objects."""
    cloud, truth = made_cloud(seed, per_m2)
    return scene_with_truth(f"made/{seed}", cloud, truth["boulders"])


def scene_with_truth(name: str, cloud: Cloud, boulders: gpd.GeoDataFrame) -> Scene:
    """A cloud with the boulders that stand in it: points with height and radius."""
    classes = classify_returns(cloud, settings=PointsSettings())
    things = [
        Planted("boulder", p.x, p.y, h, 2 * r, 2 * r, 0.0, 0)
        for p, h, r in zip(boulders.geometry, boulders.height, boulders.radius, strict=True)
    ]
    grid = grid_of(cloud)
    reaching = planting.reaching_per_m2(cloud, classes.height_above_m, things)
    return Scene(name, cloud, classes.asprs_class, classes.height_above_m, grid, things, reaching, False)


def folder_scene(name: str) -> Scene:
    """A scene of the measuring data with its own truth: a folder with tiles/ and truth.gpkg, named by TUSSOCK_DATA.

    Its flight lines are laid on each other as the workflow does it.
    """
    folder = data_folder() / name
    cloud = with_lines_levelled(Cloud.join([read_laz(path) for path in sorted((folder / "tiles").glob("*.laz"))]))
    layers = [
        layer for layer in ("boulders", "small_boulders") if layer in set(gpd.list_layers(folder / "truth.gpkg").name)
    ]
    boulders = pd.concat([gpd.read_file(folder / "truth.gpkg", layer=layer) for layer in layers], ignore_index=True)
    return scene_with_truth(name, cloud, boulders)


def with_lines_levelled(cloud: Cloud, /) -> Cloud:
    """The cloud with its flight lines laid on each other, by the ground of the project's own filter."""
    ground = near_ground(cloud, own_ground(cloud, find_ground=embedded(PointsSettings())))
    return levelled(cloud, find_levelling(line_cells(ground.enh, ground.flight_line)).shifts)


def open_cloud(
    seed: int, per_m2: float, *, canopy: float = 0.0, undergrowth: float = 0.0, side_m: float = 220.0
) -> Cloud:
    """A gentle slope with uneven ground, single pulses straight down, of which crowns and undergrowth stop a share."""
    rng = np.random.default_rng(seed)
    n = round(per_m2 * side_m**2)
    en = rng.uniform(0, side_m, (n, 2))
    uneven = 0.25 * np.sin(en[:, 0] / 6) * np.sin(en[:, 1] / 7) + rng.normal(0, 0.03, n)
    ground = 200 + 0.15 * en[:, 0] + uneven
    # Crowns of 5 m stand on a jittered lattice; within one, a pulse gets through one time in four.
    crown = np.hypot((en[:, 0] + 1.7 * np.sin(en[:, 1])) % 7 - 3.5, (en[:, 1] + 1.3 * np.sin(en[:, 0])) % 7 - 3.5)
    radius = 3.5 * np.sqrt(min(canopy / 0.75, 1.0) * 4 / np.pi)
    stopped = (crown < radius) & (rng.random(n) < 0.75)
    height = ground + np.where(stopped, rng.uniform(7, 18, n), 0)
    if undergrowth > 0:
        tangled = ~stopped & (rng.random(n) < undergrowth)
        height = height + np.where(tangled, rng.uniform(0.3, 2.5, n), 0)
    return Cloud.of(np.column_stack((en + 500000.0, height)), gps_time=np.arange(n) * 1e-5)


def open_scene(
    seed: int, per_m2: float, counts: dict[str, int], *, canopy: float = 0.0, undergrowth: float = 0.0
) -> Scene:
    """Objects planted on the gentle slope."""
    cloud = open_cloud(seed, per_m2, canopy=canopy, undergrowth=undergrowth)
    above = classify_returns(cloud, settings=PointsSettings()).height_above_m
    rng = np.random.default_rng(seed)
    things = planting.scatter(cloud, rng, counts=counts, spacing_m=12.0)
    reaching = planting.reaching_per_m2(cloud, above, things)
    cloud = planting.plant(cloud, above, things, rng)
    classes = classify_returns(cloud, settings=PointsSettings())
    grid = grid_of(cloud)
    return Scene(f"open/{seed}", cloud, classes.asprs_class, classes.height_above_m, grid, things, reaching, True)
