"""Steps of the whole area: rasters joined from blocks, its outline, its relief."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from pipeline.draft.outline import covered_area
from pipeline.errors import InputError, SurveyError
from pipeline.files import blocks as archives
from pipeline.files import layers, rasters
from pipeline.grid import Grid, Heights
from pipeline.settings import TerrainSettings
from pipeline.terrain.relief import shaded_relief, slope
from pipeline.terrain.surface import level_water

DESCRIPTIONS = {
    "bare_earth": "bare-earth elevation, metres",
    "ground_support": "distance to the nearest ground return, metres",
    "canopy_height": "height of the highest vegetation above the bare earth, metres",
    "slope": "slope of the bare earth, degrees",
    "shaded_relief": "shaded relief, several light directions, 0 is nodata",
}
SURFACES = ("ground_support", "canopy_height")
"""Per-block grids a mapper looks at as they are; the others are counts that only later steps read."""


def rasters_of_area(
    *, grids: Path, blocks: list[str], out: Path, seen: Path, counts: Path, outline: Path, boundary: list[Path]
) -> None:
    """Join the blocks' grids, find the outline of the area, and write the rasters that lie in it."""
    whole, frame = _mosaic([grids / f"{name}.npz" for name in blocks])
    area = _within(covered_area(whole["all_returns"], frame), frame, boundary)
    cropped = Grid.covering(area.bounds, cell_m=frame.cell_m, crs=frame.crs)
    whole = {name: values[frame.window_of(cropped)] for name, values in whole.items()}
    layers.write_layers(outline, {"outline": gpd.GeoDataFrame(geometry=_polygons(area), crs=frame.crs)})
    rasters.write_heights(seen, whole.pop("bare_earth"), cropped, description=DESCRIPTIONS["bare_earth"])
    for name in SURFACES:
        rasters.write_heights(out / f"{name}.tif", whole.pop(name), cropped, description=DESCRIPTIONS[name])
    archives.write_grids(counts, whole, cropped)


def bare_earth(*, seen: Path, water: Path, out: Path, settings: TerrainSettings) -> None:
    """The bare earth with level water: as the ground returns show it, but lakes flat."""
    heights, grid = rasters.read_heights(seen)
    bodies = layers.read_features(water)
    bodies = bodies[bodies.geom_type == "Polygon"]
    flat = level_water(
        heights, grid, list(bodies.geometry), list(bodies["elevation_m"]), max_off_m=settings.water_max_off_m
    )
    rasters.write_heights(out, flat, grid, description=DESCRIPTIONS["bare_earth"])


def relief(*, bare_earth: Path, slope_out: Path, shaded_relief_out: Path) -> None:
    """Slope and shaded relief of the area."""
    heights, grid = rasters.read_heights(bare_earth)
    rasters.write_heights(slope_out, slope(heights, grid), grid, description=DESCRIPTIONS["slope"])
    shade = shaded_relief(heights, grid)
    rasters.write_bytes_raster(shaded_relief_out, shade, grid, description=DESCRIPTIONS["shaded_relief"])


# ---------------------------------------------------------------- joining blocks


def _mosaic(archives_of_blocks: list[Path]) -> tuple[dict[str, Heights], Grid]:
    """The grids of all blocks with returns side by side on one grid, NaN where there is no block."""
    made = [archives.read_grids(path) for path in archives_of_blocks]
    made = [(values, frame) for values, frame in made if values]
    if not made:
        raise SurveyError("none of the tiles holds a usable return inside the area; check the tiles with 'survey'")
    bounds = np.array([frame.bounds for _, frame in made])
    west, south = bounds[:, :2].min(axis=0)
    east, north = bounds[:, 2:].max(axis=0)
    first = made[0][1]
    whole = Grid.covering((west, south, east, north), cell_m=first.cell_m, crs=first.crs)
    joined = {name: np.full(whole.shape, np.nan, np.float32) for name in made[0][0]}
    while made:
        values, frame = made.pop()
        for name, block in values.items():
            joined[name][whole.window_of(frame)] = block
    return joined, whole


def _within(covered: Polygon | MultiPolygon, frame: Grid, boundary: list[Path]) -> MultiPolygon:
    """The covered ground inside the frame and the boundary."""
    inside = shapely.intersection(covered, shapely.box(*frame.bounds))
    for path in boundary:
        inside = shapely.intersection(inside, layers.read_boundary(path, frame.crs))
        if inside.is_empty:
            raise InputError(f"{path}: the boundary lies outside the tiles; check its coordinate system")
    return MultiPolygon(_polygons(inside))


def _polygons(area: shapely.Geometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(area) if isinstance(part, Polygon)]
