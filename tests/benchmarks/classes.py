"""Classes measured: ground, vegetation and buildings against the makers' classes and the truth of invented scenes.

Run: TUSSOCK_DATA=folder python -m tests.benchmarks.classes [made_scene_folder ...]

TUSSOCK_DATA names the folder of the measuring data (classes/, scene_a/, scene_b/, bc_forest/, ...); further folders are
scenes as `sample_tiles/make_scene.py --truth --out FOLDER` writes them. Ground and heights are made by
`classify_returns`; roofs and wires by `find_roofs` and `find_wires` with their defaults. What the makers left out
(unclassified, virtual and other classes) is not counted for the vegetation classes, as nobody says what it is.
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.lattice.grid import Mask
from pipeline.points.classes import classify_returns
from pipeline.points.roofs import find_roofs
from pipeline.points.wires import find_wires
from pipeline.returns.asprs import BUILDING, GROUND, HIGH_NOISE, LOW_NOISE, WATER, WIRE
from pipeline.returns.cloud import Cloud
from pipeline.settings import PointsSettings, RoofSettings, WireSettings

CLASSES = {2: "ground", 3: "low veg.", 4: "medium veg.", 5: "high veg.", 6: "building"}
VIRTUAL = 66
SOLID, WIRES = 6, 14
"""What a return comes from in the truth of a scene: boulder, building or wall; wire."""


@dataclass(frozen=True)
class Found:
    """Classes of all returns, and the seconds that roofs and wires took per million of them."""

    asprs_class: NDArray[np.uint8]
    roof_s: float
    wire_s: float


def read_cloud(paths: list[Path]) -> Cloud:
    """Tiles as they are, in metres; the makers' classes are kept as producer classes."""
    return Cloud.join([_as_cloud(laspy.read(path)) for path in paths])


def _as_cloud(tile: laspy.LasData) -> Cloud:
    has_time = "gps_time" in tile.point_format.dimension_names
    return Cloud.of(
        np.column_stack([tile.x, tile.y, tile.z]),
        return_number=np.asarray(tile.return_number, np.uint8),
        n_returns=np.asarray(tile.number_of_returns, np.uint8),
        gps_time=np.asarray(tile.gps_time) if has_time else np.zeros(len(tile.points)),
        flight_line=np.asarray(tile.point_source_id, np.uint16),
        producer_class=np.asarray(tile.classification, np.uint8),
        is_usable=np.asarray(tile.classification) != VIRTUAL,
    )


def classify(cloud: Cloud, /) -> Found:
    """Our classes, with ground made anew: the makers' classes are what is compared with."""
    made = classify_returns(cloud, settings=PointsSettings(ground_from="own"))
    classes, above = made.asprs_class.copy(), made.height_above_m
    free = cloud.is_usable & ~np.isin(classes, (GROUND, WATER, LOW_NOISE, HIGH_NOISE))
    start = time.perf_counter()
    roofs = find_roofs(cloud, above, free, settings=RoofSettings())
    middle = time.perf_counter()
    wires = find_wires(cloud, above, free & ~roofs, settings=WireSettings())
    end = time.perf_counter()
    classes[roofs], classes[wires] = BUILDING, WIRE
    millions = len(cloud) / 1e6
    return Found(classes, (middle - start) / millions, (end - middle) / millions)


def scores(found: Mask, true: Mask, /) -> str:
    """Precision, recall and F1 as text; a dash where there is nothing to find."""
    both, found_n, true_n = int((found & true).sum()), int(found.sum()), int(true.sum())
    if true_n == 0:
        return f"     -      -      -  ({found_n} false)"
    return f"{both / max(found_n, 1):6.3f} {both / true_n:6.3f} {2 * both / (found_n + true_n):6.3f}"


def measure_classes(root: Path) -> None:
    """F1 of each class on the tiles with makers' classes, each and together."""
    tiles = sorted((root / "classes").glob("*.laz"))
    true, ours = [], []
    print("\nclasses/: precision, recall, F1 against the makers' classes")
    for path in tiles:
        cloud = read_cloud([path])
        true.append(cloud.producer_class[cloud.is_usable])
        ours.append(classify(cloud).asprs_class[cloud.is_usable])
    names = [path.stem for path in tiles]
    pooled = [(np.concatenate(true), np.concatenate(ours))]
    for name, (makers, own) in zip([*names, "all"], [*zip(true, ours, strict=True), *pooled], strict=True):
        told = np.isin(makers, list(CLASSES))
        for code, title in CLASSES.items():
            counted = told | (code == BUILDING)
            print(f"  {name:8} {title:12} {scores(own[counted] == code, makers[counted] == code)}")


def measure_scene(folder: Path) -> None:
    """Building and wire returns of an invented scene against its truth; boulders must not be roofs."""
    paths = sorted((folder / "tiles").glob("*.laz"))
    cloud = read_cloud(paths)
    source = np.concatenate([np.load(path.parent / f"{path.stem}.truth.npz")["src"] for path in paths])
    plans = shapely.union_all(gpd.read_file(folder / "truth.gpkg", layer="buildings").geometry.buffer(0.3))
    shapely.prepare(plans)
    is_house = (source == SOLID) & shapely.contains_xy(plans, cloud.east, cloud.north)
    found = classify(cloud)
    roofs, wires = found.asprs_class == BUILDING, found.asprs_class == WIRE
    stray = int((roofs & (source == SOLID) & ~is_house).sum())
    print(f"  {folder.name:8} building     {scores(roofs, is_house)}  boulders and walls among them: {stray}")
    print(f"  {folder.name:8} wire         {scores(wires, source == WIRES)}  {_cost(found)}")


def measure_forest(root: Path, name: str) -> None:
    """Roofs and wires where there are none, and ground of manual labels taken for roof."""
    cloud = read_cloud(sorted((root / name).parent.glob((root / name).name)))
    found = classify(cloud)
    roofs, wires = found.asprs_class == BUILDING, found.asprs_class == WIRE
    ground = int((roofs & (cloud.producer_class == GROUND)).sum())
    print(f"  {name:22} {len(cloud):8} {roofs.sum():7} {ground:7} {wires.sum():7}  {_cost(found)}")


def _cost(found: Found) -> str:
    return f"{found.roof_s:.2f} + {found.wire_s:.2f} s per million returns"


def main() -> None:
    """All tables."""
    if not os.environ.get("TUSSOCK_DATA"):
        print("TUSSOCK_DATA does not name the folder with the measuring data: nothing was measured")
        return
    root = Path(os.environ["TUSSOCK_DATA"])
    measure_classes(root)
    print("\nscenes: precision, recall, F1 against the truth")
    for folder in (root / "scene_a", root / "scene_b", *map(Path, sys.argv[1:])):
        measure_scene(folder)
    print(
        "\nno buildings (forest), or none labelled (town): returns, called roof, of these labelled ground, called wire"
    )
    forests = ("bc_forest/*.laz", "boreal/*.laz", "lava_forest/*.laz", "lake_edge/*.laz", "pine_plots/*43.laz")
    towns = (f"isprs/samp{number}.laz" for number in (11, 12, 21, 22, 23, 24, 51, 52, 53, 54))
    for name in (*forests, *towns):
        measure_forest(root, name)


if __name__ == "__main__":
    main()
