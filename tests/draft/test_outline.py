"""The outline of the area, drawn from the returns."""

import numpy as np
import pytest
import shapely

from pipeline.draft.outline import covered_area, squares_with_returns
from pipeline.lattice.grid import Grid

CRS = "EPSG:25832"


def counts(grid: Grid, *rectangles: tuple[float, float, float, float]) -> np.ndarray:
    """One return a cell within some rectangles (west, south, east, north), none elsewhere."""
    east, north = np.meshgrid(*grid.centres())
    seen = np.zeros(grid.shape, np.float32)
    for west, south, right, top in rectangles:
        seen[(east > west) & (east < right) & (north > south) & (north < top)] = 1
    return seen


def test_a_rectangle_of_returns_is_its_own_outline() -> None:
    """200 m by 120 m of returns are 2.4 ha."""
    grid = Grid.covering((0, 0, 400, 400), cell_m=1.0, crs=CRS)
    outline = covered_area(*squares_with_returns(counts(grid, (100, 100, 300, 220)), grid))
    assert outline.area == pytest.approx(24000, rel=0.01)


def test_a_lake_without_returns_lies_in_the_area() -> None:
    """A void of 60 m is filled; a return far outside is not part of the area."""
    grid = Grid.covering((0, 0, 400, 400), cell_m=1.0, crs=CRS)
    seen = counts(grid, (100, 100, 300, 300), (380, 380, 382, 382))
    seen[150:210, 150:210] = 0
    outline = covered_area(*squares_with_returns(seen, grid))
    assert outline.area == pytest.approx(40000, rel=0.01)
    assert len(shapely.get_parts(outline)) == 1


def test_the_outline_does_not_depend_on_the_grid_around_it() -> None:
    """The same returns on a larger grid, shifted by odd cells, have the same outline."""
    small = Grid.covering((95, 93, 311, 317), cell_m=0.5, crs=CRS)
    large = Grid.covering((0.5, 1.5, 402, 409), cell_m=0.5, crs=CRS)
    rectangle = (101.3, 98.7, 295.1, 310.2)
    one, other = (covered_area(*squares_with_returns(counts(grid, rectangle), grid)) for grid in (small, large))
    assert shapely.equals(one, other)
