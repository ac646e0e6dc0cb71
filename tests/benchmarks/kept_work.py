"""A mapper's work over refreshes, and maps laid beside lidar: `python -m tests.benchmarks.kept_work [RUN ...]`.

The first table edits made drafts and the drafts of real and invented tiles, and refreshes them ten times. The second
makes maps of drafts: shifted, stretched in waves, each feature off by itself, a quarter left out.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray

from pipeline.files.earlier.written import MAP
from pipeline.marks.matching import family_of
from pipeline.refresh.register.shift import Shift
from pipeline.refresh.stretch.pairs import places_of
from pipeline.refresh.stretch.stretch import find_stretch, off_at
from pipeline.steps.refresh.area import refresh_area
from pipeline.steps.refresh.keep import keep_work
from pipeline.steps.refresh.old import Place, read_old
from tests.benchmarks.results import Table
from tests.refresh.edited import Layers, edit, lost, overwrite, surveyed, true_features, write_draft

N_EDITS, N_REFRESHES, SEEDS = 200, 10, 5
MOST_EDITED = 0.9
"""No larger share of the features of a draft is edited."""
SAME_M = 4.0
"""A drawn point nearer than this to a rejected one of its kind has come back."""
WAVES_M, ERROR_M = 2.0, 1.2
"""Height of the waves a map is stretched by, and what each of its features is off by itself, in metres."""


def kept_work(outs: Mapping[str, Path], /) -> list[Table]:
    """What of edits is lost, and what of rejected points comes back.

    Parameters
    ----------
    outs : name of a place -> folder of its draft, which is edited in a copy and refreshed with itself
    """
    rows = [_made(seed) for seed in range(SEEDS)] + [_real(name, out) for name, out in outs.items()]
    columns = ["draft", "edits", "refreshes", "lost or changed", "rejected points", "came back"]
    return [Table("A mapper's edits after refreshes", columns, rows)]


def _made(seed: int) -> list[str]:
    truth = true_features(seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first = write_draft(folder / "old", surveyed(truth, 1000 * seed, tile_m=150))
        edits = _edited(first, seed)
        before = first
        for number in range(N_REFRESHES):
            tile_m = 90.0 + 37 * number
            out = write_draft(folder / f"new{number}", surveyed(truth, 1000 * seed + number + 1, tile_m=tile_m))
            read = read_old(before, _place(before, out))
            keep_work(read, out, read.features.geometry.to_numpy(), shift=Shift(), more_m=0.5)
            before = out
        return _row(f"made {seed}", edits, before, N_REFRESHES)


def _real(name: str, run: Path) -> list[str]:
    """A whole refresh, comparison and all, of a run with edits by the same run without."""
    with tempfile.TemporaryDirectory() as folder:
        old, out = Path(folder) / "old", Path(folder) / "new"
        for target in (old, out):
            shutil.copytree(run, target, ignore=shutil.ignore_patterns("logs", "exports", "sheets", "refresh*"))
        edits = _edited(old, 1)
        read = read_old(old, _place(old, out))
        refresh_area(read, out)
        return _row(name, edits, out, 1)


def _edited(run: Path, seed: int) -> gpd.GeoDataFrame:
    layers = _layers(run / "draft.gpkg")
    own = {name: table for name, table in layers.items() if not name.startswith("technical")}
    n = min(N_EDITS, round(MOST_EDITED * sum(len(table) for table in own.values())))
    tables, edits = edit(own, n, seed)
    overwrite(run / "draft.gpkg", {**layers, **tables})
    return edits


def _layers(path: Path) -> Layers:
    return {str(name): gpd.read_file(path, layer=name) for name, _ in pyogrio.list_layers(path)}


def _place(run: Path, out: Path) -> Place:
    table = next(table for table in _layers(run / "draft.gpkg").values() if len(table))
    bounds = np.asarray(table.total_bounds, np.float64) + np.array([-500, -500, 500, 500])
    west, south, east, north = map(float, bounds)
    return Place(str(table.crs), (west, south, east, north), out)


def _row(name: str, edits: gpd.GeoDataFrame, out: Path, times: int) -> list[str]:
    points = edits[(edits["status"] == "rejected") & (edits.geom_type == "Point")]
    fresh = pd.concat([t for n, t in _layers(out / MAP).items() if n.endswith("_point")], ignore_index=True)
    fresh = gpd.GeoDataFrame(fresh[fresh["status"].isin(["draft", "candidate"])], geometry="geometry")
    family = np.array([family_of(str(symbol)) for symbol in fresh["symbol"]], dtype=str)
    back = sum(
        bool((fresh[family == family_of(symbol)].distance(place) < SAME_M).any())
        for symbol, place in zip(points["symbol"], points.geometry, strict=True)
    )
    values = (len(edits), times, len(lost(edits, out / MAP)), len(points), back)
    return [name, *map(str, values)]


def map_beside_lidar(drafts: Mapping[str, Path], /, *, seeds: Sequence[int] = (11, 12)) -> list[Table]:
    """How well shift and stretch of a drawn map are found.

    Parameters
    ----------
    drafts : name of a place -> its draft.gpkg
    """
    rows = []
    for name, path in drafts.items():
        layers = [t for n, t in _layers(path).items() if not n.startswith("technical") and len(t)]
        new = gpd.GeoDataFrame(pd.concat(layers, ignore_index=True), geometry="geometry", crs=layers[0].crs)
        rows += [_laid(name, new, seed) for seed in seeds]
    left = ["left by a shift alone, m", "left, m (median)", "left, m (90 %)", "stated, m"]
    columns = ["place", "features", "off, m", *left]
    return [Table("A drawn map beside lidar", columns, rows)]


def _laid(name: str, new: gpd.GeoDataFrame, seed: int) -> list[str]:
    random = np.random.default_rng(seed)
    shift, phase = random.normal(0, 3.5, 2), random.uniform(0, 6, 2)

    def off(places: NDArray[np.float64]) -> NDArray[np.float64]:
        waves = np.column_stack([np.sin(places[:, 1] / 90 + phase[0]), np.sin(places[:, 0] / 90 + phase[1])])
        return np.asarray(shift + WAVES_M * waves, np.float64)

    old = new[random.random(len(new)) < 0.75].copy()
    errors = random.normal(0, ERROR_M, (len(old), 2))
    simple = [shapely.simplify(shape, 1.0) for shape in old.geometry]
    shapes = [
        shapely.transform(shape, partial(_drawn, off=off(shapely.get_coordinates(shape)), error=error))
        for shape, error in zip(simple, errors, strict=True)
    ]
    old = old.set_geometry(gpd.GeoSeries(shapes, index=old.index, crs=old.crs))
    found = find_stretch(old, new)
    places = places_of(old).at
    true = off(places)
    left = np.hypot(*(off_at(found.off, found.corner, places) - true).T)
    alone = np.hypot(*(true.mean(axis=0) - true).T)
    values = [np.hypot(*true.T).mean(), np.median(alone), np.median(left), np.quantile(left, 0.9), found.shift.error_m]
    return [f"{name} {seed}", str(len(old)), *(f"{value:.2f}" for value in values)]


def _drawn(places: NDArray[np.float64], *, off: NDArray[np.float64], error: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where a mapper has drawn places of one feature."""
    return places - off + error


def main(arguments: Sequence[str]) -> None:
    """Print both tables; the second, and a real refresh, for the folders of runs that are named."""
    runs = {Path(name).name: Path(name) for name in arguments}
    tables = kept_work(runs) + (map_beside_lidar({n: p / "draft.gpkg" for n, p in runs.items()}) if runs else [])
    for table in tables:
        print("\n".join(table.as_markdown()))


if __name__ == "__main__":
    main(sys.argv[1:])
