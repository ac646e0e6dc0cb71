"""Whole runs of the workflow, and how two drafts are compared."""

import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pyogrio
import rasterio
import shapely

from tests.paths import PROJECT

SAMPLE = PROJECT / "sample_tiles"
RUN_TIMEOUT_S = 900
"""A run that takes longer hangs; one of a small scene takes half a minute, and many times that beside other work."""


def write_area(folder: Path, tiles: str, **settings: str) -> Path:
    """An area file for some tiles; further lines as given."""
    folder.mkdir(parents=True, exist_ok=True)
    lines = {"name": "Tarnlow Rigg", "tiles": f"'{tiles}'", "map_date": "2027-04-10"} | settings
    path = folder / "area.yaml"
    path.write_text("".join(f"{key}: {value}\n" for key, value in lines.items()), encoding="utf-8")
    return path


def tussock(*arguments: str | Path, **options: object) -> subprocess.CompletedProcess[str]:
    """Run the command as a user does and wait for it."""
    return subprocess.run(
        [sys.executable, "-m", "pipeline.cli", *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=RUN_TIMEOUT_S,
        cwd=PROJECT,
        check=False,
        **options,
    )


def plain_snakemake(area: Path) -> subprocess.CompletedProcess[str]:
    """Run the workflow without the command."""
    return subprocess.run(
        [sys.executable, "-m", "snakemake", "--cores", "2", "--quiet", "all", "--config", f"area={area}"],
        capture_output=True,
        text=True,
        timeout=RUN_TIMEOUT_S,
        cwd=PROJECT,
        check=False,
    )


def merged_tile(tiles: list[Path], target: Path) -> Path:
    """One tile of several, the last tile's points first, so that order too is another."""
    clouds = [laspy.read(path) for path in tiles[::-1]]
    header = clouds[0].header
    points = []
    for cloud in clouds:
        raw = cloud.points.array.copy()
        for axis, name in enumerate("XYZ"):
            raw[name] += round((cloud.header.offsets[axis] - header.offsets[axis]) / header.scales[axis])
        points.append(raw)
    whole = laspy.LasData(header)
    whole.points = laspy.ScaleAwarePointRecord(
        np.concatenate(points), header.point_format, header.scales, header.offsets
    )
    target.parent.mkdir(parents=True, exist_ok=True)
    whole.write(target)
    return target


def layers_of(out: Path) -> dict[str, gpd.GeoDataFrame]:
    """All layers of the draft of a run."""
    draft = out / "draft.gpkg"
    return {name: gpd.read_file(draft, layer=name) for name in pyogrio.list_layers(draft)[:, 0]}


def differences(one: Path, other: Path) -> list[str]:
    """What differs between the drafts of two runs, feature by feature; empty when they are the same."""
    found = []
    theirs = layers_of(other)
    for name, layer in layers_of(one).items():
        a, b = layer.set_index("id").sort_index(), theirs[name].set_index("id").sort_index()
        if list(a.index) != list(b.index):
            found.append(f"{name}: {len(a)} and {len(b)} features, {len(set(a.index) ^ set(b.index))} in one only")
            continue
        moved = ~shapely.equals_exact(a.geometry.to_numpy(), b.geometry.to_numpy(), tolerance=1e-6)
        found += [f"{name}: {moved.sum()} features lie elsewhere"] if moved.any() else []
        columns = list(a.columns.drop("geometry"))
        same = (a[columns].map(repr) == b[columns].map(repr)).all(axis=1)
        found += [f"{name}: {(~same).sum()} features say something else"] if not same.all() else []
    return found


def raster_of(out: Path, name: str) -> np.ndarray:
    """Values of a raster of a run, NaN for nodata."""
    with rasterio.open(out / "rasters" / f"{name}.tif") as source:
        return source.read(1, masked=True).astype(float).filled(np.nan)
