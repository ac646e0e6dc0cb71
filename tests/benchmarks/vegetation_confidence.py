"""How often areas and rides are right that the draft calls likely: tables by confidence.

Run: python -m tests.benchmarks.vegetation_confidence SCENE OUT ...

SCENE is a folder with the truth of a made scene (`truth_pad.tif`, plant-area density in m2/m3; `truth_open.tif`;
`truth.gpkg` with rides and paths), OUT the folder of a run on it. An area is right when most of its cells have the
band it is drawn in, or are open land where it is drawn as open land. Water and carpets of heather and fern are left out
where the scene has them (`truth_pond.tif`, `truth_carpet.tif`): they are in neither truth. Of a ride the table says how
much of it runs along true rides, and along true rides or paths.
"""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize

from pipeline.settings import VegetationSettings
from pipeline.vegetation.draft import limits_of
from pipeline.vegetation.running.runnability import BAND_OF

OPEN = 4
"""Band number of open land in this benchmark, above those of forest."""
BAND_DRAWN = BAND_OF | dict.fromkeys(("401", "402", "403", "404"), OPEN)
CARPET_FROM_M = 0.3
"""Carpets up to this height are below the running layer and change nothing."""
LEAST_CELLS = 20
RIDE_OFF_M = 5.0
"""A ride this near to a true one runs along it: the width of both."""
CONFIDENCE_EDGES = (0.0, 0.6, 0.7, 0.8, 0.9, 1.0)


def truth_of(scene: Path) -> tuple[NDArray[np.int64], rasterio.Affine]:
    """Band of each cell of a scene, -1 where it says nothing of plants, and the transform of the cells."""
    with rasterio.open(scene / "truth_pad.tif") as source:
        density, transform = source.read(1), source.transform
    band = np.digitize(density, limits_of(VegetationSettings()))
    band = np.where(_read(scene / "truth_open.tif", density.shape) > 0, OPEN, band)
    is_silent = _read(scene / "truth_pond.tif", density.shape) > 0
    is_silent |= _read(scene / "truth_carpet.tif", density.shape) > CARPET_FROM_M
    return np.where(is_silent, -1, band), transform


def _read(path: Path, shape: tuple[int, ...]) -> NDArray[np.floating]:
    """A truth raster; zeros where the scene has none."""
    if not path.exists():
        return np.zeros(shape)
    with rasterio.open(path) as source:
        return np.asarray(source.read(1), np.float64)


def judged(scene: Path, out: Path) -> pd.DataFrame:
    """Symbol, confidence and rightness of each area of a run that lies on enough cells with a truth."""
    band, transform = truth_of(scene)
    areas = gpd.read_file(out / "draft.gpkg", layer="vegetation_area")
    rows = []
    for area in areas[areas["symbol"].isin(BAND_DRAWN)].itertuples():
        inside = rasterize([area.geometry], out_shape=band.shape, transform=transform).astype(np.bool_)
        found = band[inside & (band >= 0)]
        if len(found) >= LEAST_CELLS:
            right = float(np.mean(found == BAND_DRAWN[area.symbol])) > 0.5
            rows.append((scene.name, area.symbol, area.confidence, right))
    return pd.DataFrame(rows, columns=["scene", "symbol", "confidence", "right"])


def rides_of(scene: Path, out: Path) -> pd.DataFrame:
    """Each ride of a run with its confidence and the share of its length that runs along true lines."""
    lines = gpd.read_file(out / "draft.gpkg", layer="manmade_line")
    layers = set(pyogrio.list_layers(scene / "truth.gpkg")[:, 0])
    rides, paths = (
        [*gpd.read_file(scene / "truth.gpkg", layer=name).geometry] if name in layers else []
        for name in ("rides", "paths")
    )
    rows = []
    for ride in lines[lines["symbol"].str.startswith("508")].itertuples():
        near = (shapely.buffer(shapely.union_all(true), RIDE_OFF_M) for true in (rides, rides + paths))
        shares = [round(ride.geometry.intersection(zone).length / ride.geometry.length, 2) for zone in near]
        rows.append((scene.name, round(ride.confidence, 2), round(ride.geometry.length), *shares, len(rides)))
    return pd.DataFrame(
        rows, columns=["scene", "confidence", "length_m", "on_rides", "on_rides_or_paths", "true_rides"]
    )


def main(arguments: list[str]) -> None:
    """Print how many areas of each confidence, symbol and scene are right, and every ride."""
    pairs = [*zip(map(Path, arguments[::2]), map(Path, arguments[1::2]), strict=True)]
    table = pd.concat([judged(scene, out) for scene, out in pairs], ignore_index=True)
    table["kind"] = np.where(table["symbol"].map(BAND_DRAWN) == OPEN, "open land", "green")
    table["from_to"] = pd.cut(table["confidence"], CONFIDENCE_EDGES).astype(str)
    for columns in (["kind"], ["kind", "from_to"], ["symbol"], ["scene", "kind"]):
        groups = table.groupby(columns)
        means = groups[["confidence", "right"]].mean().round(2).assign(areas=groups.size())
        print(means.to_string(), end="\n\n")
    print(pd.concat([rides_of(scene, out) for scene, out in pairs], ignore_index=True).to_string(index=False))


if __name__ == "__main__":
    main(sys.argv[1:])
