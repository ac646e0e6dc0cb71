"""Contours and landforms measured on real and invented ground: legibility, generalisation, deviation, spots, time.

Run `python -m tests.benchmarks.contours` with TUSSOCK_DATA naming the folder of the measuring data (bc_forest/,
scene_a/, scene_b/). The bare earth is made here, from the producer's ground class or from the scenes' truth, so that
the figures say how good the drawing is and not how good the ground filter is.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import rasterio
import shapely
from scipy.interpolate import LinearNDInterpolator
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from pipeline.landform.contours.generalise import smooth
from pipeline.landform.contours.isolines import contour_levels, trace_contours
from pipeline.landform.contours.legibility import (
    count_crossings,
    count_crowded_vertices,
    crowded_places,
    find_shapes,
    is_expressed,
    is_showable,
    stations,
)
from pipeline.landform.contours.limits import CONTOUR_LINE_MM, CONTOURS_APART_M, SMALLEST_BEND_M
from pipeline.landform.contours.rings import large_enough
from pipeline.landform.draft import draft_landforms
from pipeline.landform.lines.lines import is_closed
from pipeline.landform.shapes.knolls import find_knolls
from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.larger_cells import coarsen
from pipeline.norm.paper import ground_m, sheet_ground_m
from pipeline.settings import LandformSettings
from tests import landscape

SETTINGS = LandformSettings()
LEAST_KNOLL = {"min_contrast": SETTINGS.min_bump_contrast, "min_likeness": SETTINGS.min_knoll_likeness}
INTERVAL_M = 5.0


def bare_earth(points: np.ndarray, crs: str, cell_m: float = 0.5) -> tuple[Heights, Heights, Grid]:
    """Ground returns triangulated: heights, distance to the nearest return, grid; NaN beyond 5 m."""
    west, south = points[:, :2].min(axis=0)
    east, north = points[:, :2].max(axis=0)
    grid = Grid.covering((west, south, east, north), cell_m=cell_m, crs=crs)
    places = np.stack(np.meshgrid(*grid.centres()), axis=-1)
    middle = points[:, :2].mean(axis=0)
    heights = LinearNDInterpolator(points[:, :2] - middle, points[:, 2])(places - middle).astype(np.float32)
    gap = cKDTree(points[:, :2]).query(places)[0].astype(np.float32)
    heights[gap > 5] = np.nan
    return heights, gap, grid


def scene_points(folder: Path) -> np.ndarray:
    """True ground and water returns of an invented scene."""
    parts = []
    for path in sorted((folder / "tiles").glob("*.laz")):
        tile = laspy.read(path)
        source = np.load(path.parent / f"{path.stem}.truth.npz")["src"]
        parts.append(np.column_stack([tile.x, tile.y, tile.z])[np.isin(source, (2, 9))])
    return np.concatenate(parts)


def real_points(folder: Path) -> np.ndarray:
    """Returns that the producer called ground."""
    tiles = [laspy.read(path) for path in sorted(folder.glob("*.laz"))]
    return np.concatenate([np.column_stack([t.x, t.y, t.z])[np.asarray(t.classification) == 2] for t in tiles])


def measure_contours(draft: gpd.GeoDataFrame, heights: Heights, grid: Grid, *, scale: int) -> dict[str, float]:
    """Legibility and generalisation of the contours of a draft."""
    contours = draft[draft.symbol.isin(["101", "102"])]
    lines, at_m = list(contours.geometry), contours["elevation_m"].to_numpy()
    metre, cells = coarsen(heights, grid, cell_m=1.0)
    raw, _ = trace_contours(metre, cells, contour_levels(metre, interval_m=INTERVAL_M))
    calm = smooth(metre, cells, smoothing_m=1.0)
    traced, traced_at_m = trace_contours(calm, cells, contour_levels(calm, interval_m=INTERVAL_M))
    open_or_large = [not is_closed(line) or large_enough(line) for line in traced]
    kept = [shapely.LineString(line) for line, keep in zip(traced, open_or_large, strict=True) if keep]
    shapes = find_shapes(kept, traced_at_m[open_or_large], calm, cells, width_m=15, min_depth_m=INTERVAL_M / 2)
    steepest_deg = float(np.degrees(np.arctan(INTERVAL_M / CONTOURS_APART_M)))
    # A reach below half a bend, 2 m, is narrower than the line itself; at cliffs lines cannot follow the ground.
    showable = is_showable(
        shapes,
        calm,
        cells,
        min_reach_m=SMALLEST_BEND_M / 2,
        steepest_deg=steepest_deg,
        margin_m=ground_m(CONTOUR_LINE_MM) / 2,
    )
    expressed = is_expressed(shapes, lines, at_m)[showable]
    crowded = crowded_places(lines, calm, cells, apart_m=0.95 * CONTOURS_APART_M, steepest_deg=0.95 * steepest_deg)
    rings = [np.asarray(line.coords) for line in lines if line.is_closed]
    return {
        "length over raw": sum(line.length for line in lines) / sum(shapely.LineString(line).length for line in raw),
        "crossings": count_crossings(lines),
        "crowded metres": len(crowded),
        "rings too small": sum(not large_enough(ring) for ring in rings),
        "vertices too many": count_crowded_vertices(lines, spacing_m=sheet_ground_m(0.3, scale=scale)),
        "shapes": len(expressed),
        "shapes lost": int((~expressed).sum()),
    }


def deviation_m(draft: gpd.GeoDataFrame, folder: Path) -> float:
    """95th percentile of how far contours lie from the true ground of a scene, 10 m off its edge."""
    contours = draft[draft.symbol.isin(["101", "102"])]
    at = stations(list(contours.geometry), step_m=2.0)
    with rasterio.open(folder / "truth_dem.tif") as file:
        true, transform = file.read(1).astype(float), file.transform
    col, row = ~transform * (at.places[:, 0], at.places[:, 1])
    inside = (row > 20) & (row < true.shape[0] - 20) & (col > 20) & (col < true.shape[1] - 20)
    height_m = map_coordinates(true, [row - 0.5, col - 0.5], order=1, mode="nearest")
    away = np.abs(height_m - contours["elevation_m"].to_numpy()[at.line])
    return float(np.percentile(away[inside], 95))


def spots(draft: gpd.GeoDataFrame, folder: Path) -> dict[str, float]:
    """Recall and precision of knolls and pits against the truth of a scene."""
    found = {}
    rules = (("knoll", "knolls", "height", ("109", "110"), 6, 1.2), ("pit", "pits", "depth", ("111", "112"), 5, 1.0))
    for name, layer, column, symbols, reach_m, floor_m in rules:
        truth = gpd.read_file(folder / "truth.gpkg", layer=layer)
        drawn = draft[draft.symbol.isin(symbols)].geometry
        rings = [line.centroid for line in draft.geometry if line.geom_type == "LineString" and line.is_ring]
        shown = [*drawn, *(point for point, line in zip(rings, _rings(draft), strict=True) if line.length < 80)]
        candidates = shown if name == "knoll" else list(drawn)
        tall, any_height = truth[truth[column] >= floor_m].geometry, truth[truth[column] >= 0.6].geometry
        found[f"{name} recall"] = _share_near(list(tall), candidates, reach_m)
        found[f"{name} precision"] = _share_near(list(drawn), list(any_height), reach_m)
    return found


def planted(heights: Heights, gap: Heights, grid: Grid, *, n_rounds: int = 4) -> dict[str, float]:
    """Knolls put on real ground, one round of twelve at a time: how many are found, and how many there are without.

    They are 1.2 to 3.5 m high and 8 to 18 m across, with the outline of a raised cosine, at random places whose ground
    is seen and where no knoll stands.
    """
    rng = np.random.default_rng(11)
    before, _ = find_knolls(heights, gap, grid, **LEAST_KNOLL)
    east, north = grid.centres()
    edge = round(20 / grid.cell_m)
    found, n_planted = 0, 0
    for _ in range(n_rounds):
        ground, places = heights.copy(), np.empty((0, 2))
        for _try in range(2000):
            row, col = rng.integers(edge, grid.rows - edge), rng.integers(edge, grid.cols - edge)
            place, radius_m = np.array([east[col], north[row]]), rng.uniform(4, 9)
            around = (slice(row - edge, row + edge), slice(col - edge, col + edge))
            others = np.concatenate([places, before.places])
            is_free = not len(others) or np.hypot(*(others - place).T).min() > 25
            if len(places) == 12 or not is_free or not np.isfinite(heights[around]).all() or gap[around].mean() > 1:
                continue
            away = np.hypot(east[None] - place[0], north[:, None] - place[1]) / radius_m
            height_m = max(1.2, rng.uniform(0.25, 0.42) * radius_m)
            ground += (height_m * (0.5 + 0.5 * np.cos(np.pi * np.minimum(away, 1)))).astype(np.float32)
            places = np.concatenate([places, place[None]])
        drawn, _ = find_knolls(ground, gap, grid, **LEAST_KNOLL)
        found += int((cKDTree(drawn.places).query(places)[0] <= 6).sum()) if len(drawn.places) else 0
        n_planted += len(places)
    area_km2 = np.isfinite(heights).sum() * grid.cell_m**2 / 1e6
    return {"knolls a km2": len(before.places) / area_km2, "knolls planted": n_planted, "found": found / n_planted}


def _rings(draft: gpd.GeoDataFrame) -> list[shapely.LineString]:
    return [line for line in draft.geometry if line.geom_type == "LineString" and line.is_ring]


def _share_near(points: list[shapely.Point], others: list[shapely.Point], reach_m: float) -> float:
    if not points:
        return float("nan")
    if not others:
        return 0.0
    away = shapely.distance(np.array(points, dtype=object)[:, None], np.array(others, dtype=object)[None, :])
    return float((away.min(axis=1) <= reach_m).mean())


def draft_of(heights: Heights, gap: Heights, grid: Grid, *, scale: int) -> tuple[gpd.GeoDataFrame, float]:
    """The draft, and the seconds it took."""
    began = time.perf_counter()
    draft = draft_landforms(
        heights, gap, np.zeros_like(gap), grid, interval_m=INTERVAL_M, scale=scale, settings=SETTINGS
    )
    return draft, time.perf_counter() - began


def square_kilometre() -> tuple[Heights, Heights, Grid]:
    """Steep restless ground of 1 km2 at half a metre."""
    grid = landscape.grid_of(side_m=1000, cell_m=0.5)
    heights = landscape.plane(grid, rise_deg=12, height_m=300) + landscape.rough(grid, spread_m=40, finest_m=6)
    return heights + landscape.noise(grid, spread_m=0.1), np.full(grid.shape, 0.4, np.float32), grid


def main() -> int:
    """Print one line a figure."""
    folder = Path(os.environ.get("TUSSOCK_DATA", ""))
    if not os.environ.get("TUSSOCK_DATA"):
        print("set TUSSOCK_DATA to the folder of the measuring data")
        return 2
    for name in ("bc_forest", "scene_a", "scene_b"):
        points = real_points(folder / name) if name == "bc_forest" else scene_points(folder / name)
        heights, gap, grid = bare_earth(points, "EPSG:3005" if name == "bc_forest" else landscape.CRS)
        for scale in (10000, 15000):
            draft, seconds = draft_of(heights, gap, grid, scale=scale)
            figures = measure_contours(draft, heights, grid, scale=scale) | {"seconds": seconds}
            if name != "bc_forest":
                figures |= {"deviation p95 m": deviation_m(draft, folder / name)} | spots(draft, folder / name)
            if name == "bc_forest" and scale == 10000:
                figures |= planted(heights, gap, grid)
            for key, value in figures.items():
                print(f"{name} 1:{scale} {key}: {value:.3g}")
    draft, seconds = draft_of(*square_kilometre(), scale=10000)
    print(f"1 km2 at 0.5 m: {seconds:.1f} s, {len(draft)} features")
    return 0


if __name__ == "__main__":
    sys.exit(main())
