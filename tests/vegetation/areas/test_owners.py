"""Areas laid on cells."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from affine import Affine
from rasterio.features import rasterize

from pipeline.lattice.grid import Grid
from pipeline.vegetation.areas.owners import OFF_MIDDLE_M, burnt

GRID = Grid("EPSG:25832", 400_000, 6_000_000, 0.5, 90, 120)


def some_areas(seed: int) -> np.ndarray:
    """Areas that share edges, some with holes, some along sides of cells, some beyond the grid or wholly off it."""
    random = np.random.default_rng(seed)
    west, south, east, north = GRID.bounds
    middles = np.column_stack([random.uniform(west - 9, east + 9, 40), random.uniform(south - 9, north + 9, 40)])
    cells = shapely.get_parts(shapely.voronoi_polygons(shapely.MultiPoint(middles)))
    holes = shapely.buffer(shapely.centroid(cells), random.uniform(0.2, 3, len(cells)))
    boxes = [shapely.box(west + 3, south + 3, west + 17.5, south + 8), shapely.box(east + 5, south, east + 9, north)]
    rings = shapely.difference(cells, holes)
    found = [part for part in shapely.get_parts(rings) if part.geom_type == "Polygon" and not part.is_empty]
    return np.array([*found, *boxes], object)


@pytest.mark.parametrize("seed", range(4))
def test_cells_belong_to_the_areas_that_gdal_finds(seed: int) -> None:
    """Judge: GDAL's way of laying polygons on cells, by the same place beside the middle of each."""
    areas = some_areas(seed)
    place = Affine(GRID.cell_m, 0, GRID.west_m + OFF_MIDDLE_M[0], 0, -GRID.cell_m, GRID.north_m + OFF_MIDDLE_M[1])
    numbered = zip(areas, range(1, len(areas) + 1), strict=True)
    expected = rasterize(numbered, out_shape=GRID.shape, transform=place, dtype=np.int32)
    found = burnt(areas, GRID)
    assert len(np.unique(found)) > 20
    np.testing.assert_array_equal(found, expected)


def test_no_areas_hold_no_cells() -> None:
    """A field without growth has none."""
    assert not burnt(np.empty(0, object), GRID).any()
