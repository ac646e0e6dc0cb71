"""How long taking in another map takes: `python -m tests.benchmarks.borrowing [--features 100000]`."""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from pipeline.borrowed.matching import match_features
from pipeline.borrowed.settling import settle
from pipeline.borrowed.table import keys_of, table_rows
from pipeline.features import no_features
from pipeline.files.borrowed import read_borrowed
from pipeline.norm.symbols import norm_table
from pipeline.shipped import BORROWED

CRS = "EPSG:25832"
SIDE_M = 10_000.0
KINDS = ({"highway": "track"}, {"highway": "path"}, {"waterway": "stream"}, {"barrier": "fence"})


def made_map(n_features: int, /, *, seed: int = 1) -> gpd.GeoDataFrame:
    """A map of houses and winding lines, half and half, on 100 km2."""
    dice = np.random.default_rng(seed)
    place = dice.uniform((400_000, 5_700_000), (400_000 + SIDE_M, 5_700_000 + SIDE_M), (n_features, 2))
    steps = np.cumsum(dice.normal(0, 12, (n_features, 8, 2)), axis=1) + place[:, None]
    shapes = [
        shapely.box(*spot, *(spot + 9.0)) if i % 2 else shapely.linestrings(line)
        for i, (spot, line) in enumerate(zip(place, steps, strict=True))
    ]
    tags = [{"building": "yes"} if i % 2 else KINDS[i // 2 % len(KINDS)] for i in range(n_features)]
    return gpd.GeoDataFrame(tags, geometry=shapes, crs=CRS).fillna("")


def seconds_of(path: Path, /) -> tuple[int, float]:
    """Features taken, and the seconds for reading, looking up and settling them with what lidar shows."""
    rows, started = table_rows(BORROWED.read_text(encoding="utf-8"), norm_table()), time.perf_counter()
    within = (400_000.0, 5_700_000.0, 400_000.0 + SIDE_M, 5_700_000.0 + SIDE_M)
    layers = read_borrowed(path, keys=keys_of(rows), crs=CRS, within=within, own_crs=None)
    matched = match_features(layers, rows=rows, symbols=norm_table(), origin=path.name, crs=CRS).features
    lidar = matched.sample(frac=0.2, random_state=1).assign(origin="lidar", status="draft")
    lidar.geometry = lidar.geometry.translate(2.0, 1.0)
    settle(lidar if len(lidar) else no_features(CRS), matched)
    return len(matched), time.perf_counter() - started


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.borrowing")
    parser.add_argument("--features", type=int, default=100_000)
    n_features = parser.parse_args().features
    table = made_map(n_features)
    with tempfile.TemporaryDirectory() as folder:
        for name in ("map.gpkg", "map.geojson"):
            table.to_file(Path(folder) / name)
            taken, seconds = seconds_of(Path(folder) / name)
            print(f"{name}: {n_features:,} features read, {taken:,} taken and settled in {seconds:.1f} s")


if __name__ == "__main__":
    main()
