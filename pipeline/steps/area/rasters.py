"""Rasters of the area joined from blocks, and the outline of the ground they cover."""

from __future__ import annotations

from pathlib import Path
from typing import cast

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from pipeline.draft.outline import covered_area, squares_with_returns
from pipeline.errors import InputError, SurveyError
from pipeline.files import arrays, grid_files, layers, rasters
from pipeline.files.grid_files import Mosaic
from pipeline.lattice.grid import Grid

DESCRIPTIONS = {
    "bare_earth": "bare-earth elevation, metres",
    "ground_support": "distance to the nearest ground return, metres",
    "canopy_height": "height of the highest vegetation above the bare earth, metres",
    "slope": "slope of the bare earth, degrees",
    "shaded_relief": "shaded relief, several light directions, 0 is nodata",
}
"""What each raster holds, as its file says it."""
SURFACES = ("ground_support", "canopy_height")
"""Grids that a mapper looks at as they are, each written as a raster; the others are counts for later steps."""


def rasters_of_area(
    *, grids: Path, plan: Path, out: Path, seen: Path, counts: Path, outline: Path, boundary: list[Path]
) -> None:
    """Join the blocks' grids to rasters of all ground there are returns of, and find the outline of the area.

    The mapper's boundary limits the outline alone: what lies beyond is looked at as well, so that nothing is drawn
    another way near it, and cut off in composition.
    """
    blocks = cast("list[str]", arrays.read_json(plan)["blocks"])
    mosaic = Mosaic.of([grids / name for name in blocks])
    if mosaic is None:
        raise SurveyError("none of the tiles holds a usable return inside the area; check the tiles with 'survey'")
    covered = _polygons(shapely.intersection(_covered(mosaic), shapely.box(*mosaic.grid.bounds)))
    frame = Grid.covering(MultiPolygon(covered).bounds, cell_m=mosaic.grid.cell_m, crs=mosaic.grid.crs)
    area = _within(MultiPolygon(covered), frame, boundary)
    shown = {"outline": area, "covered": covered}
    layers.write_layers(outline, {name: gpd.GeoDataFrame(geometry=part, crs=frame.crs) for name, part in shown.items()})
    for name, path in (("bare_earth", seen), *((name, out / f"{name}.tif") for name in SURFACES)):
        with rasters.writing_heights(path, frame, description=DESCRIPTIONS[name], is_result=path != seen) as put:
            for part in frame.bands():
                put(mosaic.part(name, part), part)
    rest = [name for name in mosaic.names if name not in ("bare_earth", *SURFACES)]
    grid_files.write_sums_of_blocks(counts, mosaic, frame, rest)


def _covered(mosaic: Mosaic) -> Polygon | MultiPolygon:
    """The ground that the blocks' returns cover, found band by band."""
    squares, coarse = squares_with_returns(np.zeros(mosaic.grid.shape, np.bool_), mosaic.grid)
    for part in mosaic.grid.bands():
        found, place = squares_with_returns(mosaic.part("all_returns", part), part)
        squares[coarse.window_of(place)] |= found
    return covered_area(squares, coarse)


def _within(covered: MultiPolygon, frame: Grid, boundary: list[Path]) -> list[Polygon]:
    """The covered ground inside the boundary."""
    inside: shapely.Geometry = covered
    for path in boundary:
        inside = shapely.intersection(inside, layers.read_boundary(path, frame.crs))
        if inside.is_empty:
            raise InputError(f"{path}: the boundary lies outside the tiles; check its coordinate system")
    return _polygons(inside)


def _polygons(area: shapely.Geometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(area) if isinstance(part, Polygon)]
