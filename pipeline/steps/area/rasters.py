"""Rasters of the area joined from blocks, and the outline of the ground they cover."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from pipeline.draft.outline import covered_area
from pipeline.errors import InputError, SurveyError
from pipeline.files import arrays, layers, rasters
from pipeline.lattice.grid import Grid, Heights

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
    *, grids: Path, blocks: list[str], out: Path, seen: Path, counts: Path, outline: Path, boundary: list[Path]
) -> None:
    """Join the blocks' grids, find the outline of the area, and write the rasters that lie in it."""
    mosaic = Mosaic.of([grids / name for name in blocks])
    area = _within(covered_area(mosaic.joined("all_returns"), mosaic.grid), mosaic.grid, boundary)
    cropped = Grid.covering(area.bounds, cell_m=mosaic.grid.cell_m, crs=mosaic.grid.crs)
    window = mosaic.grid.window_of(cropped)
    layers.write_layers(outline, {"outline": gpd.GeoDataFrame(geometry=_polygons(area), crs=cropped.crs)})
    # One raster at a time: all those of a large area together would not fit into memory.
    for name, path in (("bare_earth", seen), *((name, out / f"{name}.tif") for name in SURFACES)):
        rasters.write_heights(path, mosaic.joined(name)[window], cropped, description=DESCRIPTIONS[name])
    rest = [name for name in mosaic.names if name not in ("bare_earth", *SURFACES)]
    arrays.write_grids(counts, ((name, mosaic.joined(name)[window]) for name in rest), cropped)


@dataclass(frozen=True)
class Mosaic:
    """The grids of blocks side by side.

    Attributes
    ----------
    grid : covers all blocks with returns
    names : of the rasters that each block has
    frames : folder of each block with returns, and its grid
    """

    grid: Grid
    names: tuple[str, ...]
    frames: tuple[tuple[Path, Grid], ...]

    @classmethod
    def of(cls, folders: list[Path], /) -> Mosaic:
        """The mosaic of the grids of blocks, no raster read yet.

        Raises
        ------
        SurveyError
            If no block holds a return.
        """
        found = [(path, *arrays.read_grid_of(path)) for path in folders]
        made = [(path, frame, names) for path, frame, names in found if names]
        if not made:
            raise SurveyError("none of the tiles holds a usable return inside the area; check the tiles with 'survey'")
        bounds = np.array([frame.bounds for _, frame, _ in made])
        west, south = bounds[:, :2].min(axis=0)
        east, north = bounds[:, 2:].max(axis=0)
        _, first, names = made[0]
        whole = Grid.covering((west, south, east, north), cell_m=first.cell_m, crs=first.crs)
        return cls(whole, names, tuple((path, frame) for path, frame, _ in made))

    def joined(self, name: str, /) -> Heights:
        """One raster of all blocks, NaN where there is no block."""
        joined = np.full(self.grid.shape, np.nan, np.float32)
        for path, frame in self.frames:
            joined[self.grid.window_of(frame)] = arrays.map_arrays(path, (name,))[name]
        return joined


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
