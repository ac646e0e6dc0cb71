"""Undergrowth of known density planted in real tiles: how it is measured, and in which band it is drawn.

Run: TUSSOCK_DATA=folder python -m tests.benchmarks.vegetation [bc_forest] [boreal] [--own-ground]

A disc of undergrowth stops real pulses: each pulse that enters the running layer within it is stopped at a depth drawn
from Beer-Lambert (k = 0.5); its next real return is moved up to there and those below are taken away. Discs stand where
the tile has least undergrowth of its own; densities add up, so what was there before is counted in.

Without --own-ground, ground and heights are those of the tile's producer (class 2, triangulated), which judges the
vegetation alone. With it, ground is found anew in the planted cloud, as in a run.
"""

from __future__ import annotations

import os
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import laspy
import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize
from scipy import ndimage

from pipeline.lattice.grid import Grid, Heights
from pipeline.points.classes import classify_returns
from pipeline.returns.cloud import Cloud
from pipeline.settings import PointsSettings, VegetationSettings
from pipeline.terrain.profile import join_pulses
from pipeline.terrain.surface import canopy_height
from pipeline.vegetation.draft import VegetationDraft, draft_vegetation, limits_of
from tests.pulse_scene import Forest, profile_of

EXTINCTION = 0.5
PLANTED_M2_PER_M3 = (0.22, 0.55, 1.2)
DISC_RADIUS_M = 15.0
"""700 m2: three times the smallest 406."""
DISC_APART_M = 36.0
N_DISCS = 9


@dataclass(frozen=True)
class Disc:
    """Undergrowth planted around a place."""

    east: float
    north: float
    density: float


@dataclass(frozen=True)
class Survey:
    """A cloud with classes, heights and its grid."""

    cloud: Cloud
    asprs_class: NDArray[np.uint8]
    height_m: NDArray[np.float32]
    grid: Grid


def read_cloud(folder: Path) -> Cloud:
    """All tiles of a folder as one cloud."""
    return Cloud.join([_read_tile(path) for path in sorted(folder.glob("*.la[sz]"))])


def _read_tile(path: Path) -> Cloud:
    las = laspy.read(path)
    names = set(las.point_format.dimension_names)
    angle = las["scan_angle"] * 0.006 if "scan_angle" in names else las["scan_angle_rank"]
    return Cloud.of(
        np.column_stack((las.x, las.y, las.z)),
        intensity=np.asarray(las.intensity),
        return_number=np.asarray(las.return_number, np.uint8),
        n_returns=np.asarray(las.number_of_returns, np.uint8),
        gps_time=np.asarray(las.gps_time, np.float64) if "gps_time" in names else np.zeros(len(las.x)),
        flight_line=np.asarray(las.point_source_id),
        scan_angle_deg=np.asarray(angle, np.float32),
        producer_class=np.asarray(las.classification, np.uint8),
    )


def producers_ground(cloud: Cloud) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Classes and heights from the producer's ground; what lies within 0.15 m of it is ground as well."""
    height = classify_returns(cloud, settings=PointsSettings(ground_from="producer")).height_above_m
    classes = np.select([height < 0.15, height < 0.5, height < 2], [2, 3, 4], 5).astype(np.uint8)
    return classes, height


def own_ground(cloud: Cloud) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """Classes and heights as in a run."""
    found = classify_returns(cloud, settings=PointsSettings(ground_from="own"))
    return found.asprs_class, found.height_above_m


def plant(survey: Survey, discs: list[Disc], settings: VegetationSettings, seed: int) -> tuple[Cloud, NDArray[np.intp]]:
    """The cloud with undergrowth, and which returns of the old one are left in it."""
    rng = np.random.default_rng(seed)
    cloud, height = survey.cloud, survey.height_m
    pulses = join_pulses(cloud)
    pulse_of = np.empty(len(cloud), np.intp)
    pulse_of[pulses.order] = np.repeat(np.arange(len(pulses.start)), np.diff(np.append(pulses.start, len(cloud))))
    density = np.zeros(len(pulses.start))
    for disc in discs:
        inside = np.hypot(cloud.east[pulses.last] - disc.east, cloud.north[pulses.last] - disc.north) < DISC_RADIUS_M
        density[inside] = disc.density
    path = 1 / np.cos(np.radians(np.abs(cloud.scan_angle_deg[pulses.last])))
    with np.errstate(divide="ignore"):
        depth = rng.exponential(1.0, len(density)) / (EXTINCTION * density * path)
    stop_m = settings.running_top_m - depth
    lowest = height[pulses.last]
    is_hit = (stop_m > settings.running_bottom_m) & (stop_m > lowest) & (lowest < settings.running_top_m)
    below = is_hit[pulse_of] & (height < stop_m[pulse_of])
    # Of the returns below the leaf, the first is moved up to it and the others are gone.
    below_in_order = below[pulses.order]
    is_first = below_in_order & ~np.concatenate(([False], below_in_order[:-1] & (np.diff(pulse_of[pulses.order]) == 0)))
    moved = np.zeros(len(cloud), np.bool_)
    moved[pulses.order[is_first]] = True
    lift = np.where(moved, stop_m[pulse_of] - height, 0.0)
    keep = np.flatnonzero(~below | moved)
    count = np.where(moved, cloud.return_number, cloud.n_returns)
    per_pulse = np.full(len(density), 255, np.uint8)
    np.minimum.at(per_pulse, pulse_of, count.astype(np.uint8))
    count = np.minimum(cloud.n_returns, per_pulse[pulse_of]) if cloud.has_pulses else cloud.n_returns
    changed = replace(cloud, height=cloud.height + lift, n_returns=count.astype(np.uint8))
    return changed.take(keep), keep


def draft_of(survey: Survey, settings: VegetationSettings) -> VegetationDraft:
    """The vegetation draft of a survey."""
    profile = profile_of(Forest(survey.cloud, survey.asprs_class, survey.height_m), survey.grid, settings)
    canopy = canopy_height(survey.cloud, survey.asprs_class, survey.height_m, survey.grid)
    flat = np.zeros(survey.grid.shape, np.float32)
    return draft_vegetation(profile, flat, canopy, survey.grid, settings=settings)


def choose_places(density: Heights, grid: Grid) -> list[tuple[float, float]]:
    """The places with least undergrowth of their own, apart from each other and from the rim."""
    radius = DISC_RADIUS_M / grid.cell_m
    smooth = ndimage.gaussian_filter(np.nan_to_num(density, nan=9.0), radius / 1.5, mode="constant", cval=9.0)
    distance = ndimage.distance_transform_edt(np.pad(np.isfinite(density), 1))[1:-1, 1:-1]
    smooth[distance < radius + 2] = np.inf
    east, north = grid.centres()
    places: list[tuple[float, float]] = []
    for flat in np.argsort(smooth, axis=None, kind="stable"):
        row, col = divmod(int(flat), grid.cols)
        if not np.isfinite(smooth[row, col]) or len(places) == N_DISCS:
            break
        here = float(east[col]), float(north[row])
        if all(np.hypot(here[0] - e, here[1] - n) >= DISC_APART_M for e, n in places):
            places.append(here)
    return places


def report(name: str, folder: Path, *, use_own_ground: bool) -> bool:
    """Print how each disc was measured and drawn; True if the figures of the issue are met."""
    settings = VegetationSettings()
    classify = own_ground if use_own_ground else producers_ground
    cloud = read_cloud(folder)
    bounds = (cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max())
    grid = Grid.covering(bounds, cell_m=0.5 if len(cloud) > 500_000 else 1.0, crs="EPSG:3005")
    true_classes, true_heights = producers_ground(cloud)
    before = Survey(cloud, *classify(cloud), grid)
    bare = draft_of(before, settings)
    places = choose_places(bare.understorey, grid)
    discs = [Disc(*place, PLANTED_M2_PER_M3[i % len(PLANTED_M2_PER_M3)]) for i, place in enumerate(places)]
    planted, keep = plant(Survey(cloud, true_classes, true_heights, grid), discs, settings, seed=1)
    if use_own_ground:
        after = Survey(planted, *own_ground(planted), grid)
    else:
        height = (true_heights[keep] + (planted.height - cloud.height[keep])).astype(np.float32)
        classes = np.select([height < 0.15, height < 0.5, height < 2], [2, 3, 4], 5).astype(np.uint8)
        after = Survey(planted, classes, height, grid)
    grown = draft_of(after, settings)
    return _print_discs(name, discs, bare.understorey, grown, grid, settings)


def _print_discs(
    name: str, discs: list[Disc], bare: Heights, grown: VegetationDraft, grid: Grid, settings: VegetationSettings
) -> bool:
    limits = limits_of(settings)
    symbols = {"406": 1, "407": 1, "408": 2, "409": 2, "410": 3, "401": 9, "402": 9, "403": 9, "404": 9}
    areas = grown.features[grown.features["symbol"].isin(symbols)]
    pairs = [(shape, symbols[symbol]) for shape, symbol in zip(areas.geometry, areas["symbol"], strict=True)]
    drawn = rasterize(pairs, out_shape=grid.shape, transform=grid.transform) if pairs else np.zeros(grid.shape)
    ratios, right = [], []
    for disc in discs:
        whole = _cells(disc, DISC_RADIUS_M, grid)
        core = _cells(disc, DISC_RADIUS_M - 3 * settings.density_window_m, grid)
        found = float(np.nanmean(grown.understorey[core]) - np.nanmean(bare[core]))
        band = np.digitize(bare[whole] + disc.density, limits)
        ratios.append(found / disc.density)
        right.append(float((drawn[whole] == band).mean()))
        print(
            f"{name} planted {disc.density:.2f} on {np.nanmean(bare[whole]):.2f}: measured {found:.2f} "
            f"({ratios[-1]:.0%}), band right on {right[-1]:.0%}"
        )
    good = abs(float(np.mean(ratios)) - 1) <= 0.2 and float(np.mean(right)) >= 0.8
    worst = max(abs(ratio - 1) for ratio in ratios)
    print(f"{name}: mean ratio {np.mean(ratios):.2f}, worst {worst:.0%} off, band right on {np.mean(right):.0%}")
    return good


def _cells(disc: Disc, radius_m: float, grid: Grid) -> NDArray[np.bool_]:
    shape = shapely.Point(disc.east, disc.north).buffer(radius_m)
    return np.asarray(rasterize([shape], out_shape=grid.shape, transform=grid.transform), np.bool_)


def main(arguments: list[str]) -> int:
    """Run the benchmark; exit status 0 if every figure is met."""
    root = os.environ.get("TUSSOCK_DATA")
    if not root:
        print("TUSSOCK_DATA does not name the folder with the measuring data: nothing was measured")
        return 1
    names = [name for name in arguments if not name.startswith("--")] or ["bc_forest", "boreal"]
    met = [report(name, Path(root) / name, use_own_ground="--own-ground" in arguments) for name in names]
    return 0 if all(met) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
