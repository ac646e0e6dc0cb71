"""How good and how quick the ground is, on published data: `python -m tests.benchmarks.ground` prints the tables.

With the word `held` it prints that of held-out ground alone. The measuring data are found through TUSSOCK_DATA, the
PDAL command through TUSSOCK_PDAL or PATH. Tables: the ISPRS filter test (Sithole and Vosselman 2004), filter alone and
whole chain, scenes with known bare earth, surveys with a tenth of the producer's ground held out, classes against their
maker's, speed.
"""

from __future__ import annotations

import dataclasses
import os
import shutil
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import laspy
import numpy as np
import rasterio
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.files.pdal import ground_by_pdal
from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.points.classes import FindGround, classify_returns, embedded
from pipeline.returns.cloud import Cloud
from pipeline.settings import PointsSettings, TerrainSettings
from pipeline.terrain.surface import surface_from_ground

SAMPLES = (11, 12, 21, 22, 23, 24, 51, 52, 53, 54)
OWN = PointsSettings(ground_from="own")


def read_cloud(*paths: Path) -> Cloud:
    """Tiles as one cloud, in the units of the files."""
    pieces = []
    for path in paths:
        las = laspy.read(path)
        names = set(las.point_format.dimension_names)
        columns = {
            "return_number": np.asarray(las.return_number, np.uint8),
            "n_returns": np.asarray(las.number_of_returns, np.uint8),
            "producer_class": np.asarray(las.classification, np.uint8),
            "gps_time": np.asarray(las.gps_time) if "gps_time" in names else np.zeros(len(las.points)),
        }
        pieces.append(Cloud.of(np.column_stack((las.x, las.y, las.z)).astype(np.float64), **columns))
    return Cloud.join(pieces)


def agreement(got: Mask, real: Mask) -> tuple[float, float, float, float]:
    """Type I, type II and total error and Cohen's kappa, percent."""
    lost, taken = np.count_nonzero(real & ~got), np.count_nonzero(got & ~real)
    n, n_real, n_got = len(real), np.count_nonzero(real), np.count_nonzero(got)
    by_chance = (n_real * n_got + (n - n_real) * (n - n_got)) / n**2
    total = (lost + taken) / n
    kappa = (1 - total - by_chance) / (1 - by_chance)
    return 100 * lost / max(n_real, 1), 100 * taken / max(n - n_real, 1), 100 * total, 100 * kappa


def engines() -> dict[str, FindGround]:
    """The embedded filter, and PDAL's where there is one."""
    found = os.environ.get("TUSSOCK_PDAL") or shutil.which("pdal")
    known = {"embedded": embedded(OWN)}
    if found:
        smrf = PointsSettings(ground_window_m=18.0, pdal_command=found)
        known["PDAL SMRF"] = partial(ground_by_pdal, settings=smrf)
        known["PDAL PMF"] = partial(ground_by_pdal, settings=smrf.model_copy(update={"pdal_filter": "pmf"}))
    return known


def isprs(data: Path) -> dict[str, NDArray[np.float64]]:
    """(10, 4) errors and kappa of each engine and of the whole chain on the samples, one parameter set for all."""
    found = {name: isprs_of(engine, data) for name, engine in engines().items()}
    return found | {"whole chain": _on_samples(_classed, data)}


def isprs_of(engine: FindGround, data: Path) -> NDArray[np.float64]:
    """(10, 4) errors and kappa of one engine on the samples, one parameter set for all."""
    return _on_samples(partial(_filtered, engine), data)


def _on_samples(find: Callable[[Cloud], Mask], data: Path) -> NDArray[np.float64]:
    """(10, 4) errors and kappa of a way to find the ground."""
    clouds = [read_cloud(data / "isprs" / f"samp{sample}.laz") for sample in SAMPLES]
    return np.array([agreement(find(cloud), cloud.producer_class == 2) for cloud in clouds])


def _filtered(engine: FindGround, cloud: Cloud) -> Mask:
    """Ground by a filter that may take any return."""
    return engine(cloud.enh, np.ones(len(cloud), np.bool_))


def _classed(cloud: Cloud) -> Mask:
    """Ground after all classes are made, the maker's hidden."""
    blind = dataclasses.replace(cloud, producer_class=np.zeros(len(cloud), np.uint8))
    ground: Mask = classify_returns(blind, settings=OWN).asprs_class == 2
    return ground


def read_scene(folder: Path) -> tuple[Cloud, NDArray[np.uint8]]:
    """Returns of a scene and where each came from."""
    tiles = sorted((folder / "tiles").glob("*.laz"))
    source = np.concatenate([np.load(tile.with_name(f"{tile.stem}.truth.npz"))["src"] for tile in tiles])
    return read_cloud(*tiles), source


def heights_at(
    surface: Heights, grid: Grid, east: NDArray[np.float64], north: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Surface at places, bilinear; NaN where unknown."""
    at = np.vstack(((grid.north_m - north) / grid.cell_m - 0.5, (east - grid.west_m) / grid.cell_m - 0.5))
    return np.asarray(ndimage.map_coordinates(surface.astype(np.float64), at, order=1, mode="nearest"))


def scene(folder: Path) -> dict[str, float]:
    """Kappa of the ground, and errors of the surface against the known bare earth, away from boulders and water."""
    cloud, source = read_scene(folder)
    classes = classify_returns(cloud, settings=OWN).asprs_class
    earth = np.isin(classes, (2, 9))
    judged = ~np.isin(source, (6, 7, 18))
    layers = {}
    for name in ("dem", "hard", "pad", "pond"):
        with rasterio.open(folder / f"truth_{name}.tif") as file:
            layers[name], transform, bounds = file.read(1).astype(np.float64), file.transform, file.bounds
    grid = Grid.covering(tuple(bounds), cell_m=0.5, crs="scene")
    surface = surface_from_ground(cloud.enh[earth], grid, settings=TerrainSettings())
    row, col = np.indices(layers["dem"].shape)
    east, north = transform * (col + 0.5, row + 0.5)
    error = heights_at(surface, grid, east.ravel(), north.ravel()).reshape(east.shape) - layers["dem"]
    fair = np.isfinite(error) & ~ndimage.binary_dilation(layers["hard"] > 0.05, iterations=3) & (layers["pond"] < 0.5)
    inner = np.zeros_like(fair)
    inner[20:-20, 20:-20] = True
    fair &= inner
    return {
        "kappa": agreement(earth[judged], np.isin(source[judged], (2, 9)))[3] / 100,
        "dem_rmse_m": float(np.sqrt(np.mean(error[fair] ** 2))),
        "dem_rmse_dense_m": float(np.sqrt(np.mean(error[fair & (layers["pad"] > 0.4)] ** 2))),
        "dem_p99_m": float(np.percentile(np.abs(error[fair]), 99)),
    }


def held_out(*tiles: Path, cell_m: float, engine: FindGround) -> dict[str, float]:
    """RMSE in metres at a random tenth of the producer's ground, never used, of three surfaces.

    `left`: a triangulation of what is left of the producer's ground; `choice`: the ground that a run takes of the two;
    `own`: our ground alone. All are read at the same places, those where each is known; `held` says how many.
    """
    cloud = read_cloud(*tiles)
    given = np.flatnonzero(cloud.producer_class == 2)
    held = np.random.default_rng(1).choice(given, len(given) // 10, replace=False)
    used = np.ones(len(cloud), np.bool_)
    used[held] = False
    check, cloud = cloud.enh[held], cloud.take(used)
    bounds = (cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max())
    grid = Grid.covering(bounds, cell_m=cell_m, crs="survey")
    grounds = {"left": cloud.producer_class == 2}
    for name, settings in (("choice", PointsSettings()), ("own", OWN)):
        grounds[name] = classify_returns(cloud, settings=settings, find_ground=engine).asprs_class == 2
    errors = {}
    for name, ground in grounds.items():
        surface = surface_from_ground(cloud.enh[ground], grid, settings=TerrainSettings())
        errors[name] = heights_at(surface, grid, check[:, 0], check[:, 1]) - check[:, 2]
    known = np.isfinite(np.array(list(errors.values()))).all(axis=0)
    found = {name: float(np.sqrt(np.mean(error[known] ** 2))) for name, error in errors.items()}
    return found | {"held": float(np.count_nonzero(known))}


HELD_OUT = (
    ("bc_forest/*.laz", 0.5),
    ("lake_edge/*.laz", 1.0),
    ("lava_forest/*.laz", 0.5),
    ("real_faults/sea_cliff.laz", 0.5),
    ("real_faults/rain_forest.laz", 0.5),
    ("real_faults/lava_cone.laz", 0.5),
    ("real_faults/thin_with_buildings.laz", 1.0),
    ("real_faults/very_thin.laz", 1.0),
    *((f"pine_plots/TEAK_{number:03}.laz", 0.5) for number in range(43, 53)),
)
"""Surveys with a producer's ground, and side of a cell in metres."""


def print_held_out(data: Path) -> None:
    """The error of our choice beside that of the producer's ground alone, survey by survey."""
    print("A tenth of the producer's ground held back: RMSE in m of what is left, of our choice (ratio), of ours alone")
    worst = 0.0
    for pattern, cell_m in HELD_OUT:
        found = held_out(*sorted(data.glob(pattern)), cell_m=cell_m, engine=embedded(OWN))
        ratio = found["choice"] / found["left"]
        worst = max(worst, ratio)
        figures = f"{found['left']:.3f}  {found['choice']:.3f} ({ratio:.2f})  {found['own']:.3f}"
        print(f"  {pattern:36} {figures}  at {found['held']:.0f} returns")
    print(f"  worst ratio {worst:.2f}")


def class_scores(tile: Path) -> dict[str, float]:
    """F1 of ground, high vegetation and building against the maker's classes, which are hidden from us."""
    cloud = read_cloud(tile)
    cloud = cloud.take(cloud.producer_class < 64)
    real = cloud.producer_class
    blind = dataclasses.replace(cloud, producer_class=np.zeros(len(cloud), np.uint8))
    got = classify_returns(blind, settings=OWN).asprs_class
    scores = {}
    for name, number in (("ground", 2), ("high vegetation", 5), ("building", 6)):
        both = np.count_nonzero((got == number) & (real == number))
        either = np.count_nonzero(got == number) + np.count_nonzero(real == number)
        scores[name] = 2 * both / either if np.any(real == number) else float("nan")
    return scores


def speed(*tiles: Path) -> tuple[float, float]:
    """Million returns a second of the ground filter alone, and of all classes, one process."""
    cloud = read_cloud(*tiles)
    enh, last = cloud.enh, cloud.is_last
    times = []
    for work in (lambda: embedded(OWN)(enh, last), lambda: classify_returns(cloud, settings=OWN)):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return len(cloud) / times[0] / 1e6, len(cloud) / times[1] / 1e6


def main() -> None:
    """Print every table."""
    if "TUSSOCK_DATA" not in os.environ:
        raise SystemExit("Set TUSSOCK_DATA to the folder of the measuring data.")
    data = Path(os.environ["TUSSOCK_DATA"])
    if "held" in sys.argv[1:]:
        print_held_out(data)
        return
    for name, table in isprs(data).items():
        print(f"ISPRS, {name}: type I, type II, total error %, kappa")
        for sample, row in zip(SAMPLES, table, strict=True):
            print(f"  {sample}  " + "  ".join(f"{value:6.2f}" for value in row))
        print("  mean" + "  ".join(f"{value:6.2f}" for value in table.mean(axis=0)))
    for letter in "ab":
        print(f"scene_{letter}", {key: round(value, 4) for key, value in scene(data / f"scene_{letter}").items()})
    print_held_out(data)
    for tile in sorted((data / "classes").glob("*.laz")):
        print(f"classes/{tile.name}", {key: round(value, 3) for key, value in class_scores(tile).items()})
    filtered, classed = speed(*sorted((data / "bc_forest").glob("*.laz")))
    print(f"bc_forest: ground {filtered:.2f}, all classes {classed:.2f} million returns/s in one process")


if __name__ == "__main__":
    main()
