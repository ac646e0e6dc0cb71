"""The lattice: cells, windows and padding."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.lattice.grid import Grid

METRES = st.integers(-10_000, 10_000).map(lambda n: n / 4)


def test_covering_takes_whole_lattice_cells() -> None:
    """A rectangle off the lattice is covered by the cells it touches, not by cells of its own."""
    grid = Grid.covering((100.2, 200.2, 103.1, 204.9), cell_m=1.0, crs="EPSG:25832")
    assert grid.bounds == (100.0, 200.0, 104.0, 205.0)
    assert grid.shape == (5, 4)


def test_covering_of_an_exact_rectangle_adds_nothing() -> None:
    """A rectangle on the lattice is its own grid, rounding errors and all."""
    assert Grid.covering((0.1 * 3, 0.0, 1.2, 0.6), cell_m=0.1, crs="EPSG:25832").shape == (6, 9)


@pytest.mark.parametrize(("bounds", "cell_m"), [((0, 0, 0, 5), 1.0), ((0, 0, 5, 5), 0.0), ((5, 0, 0, 5), 1.0)])
def test_covering_refuses_nothing(bounds: tuple[float, float, float, float], cell_m: float) -> None:
    """Empty bounds and cells without a side are errors of the caller."""
    with pytest.raises(ValueError, match=r"bounds are empty|cell_m"):
        Grid.covering(bounds, cell_m=cell_m, crs="EPSG:25832")


@given(west=METRES, south=METRES, east=METRES, north=METRES)
def test_two_grids_of_one_cell_size_put_a_place_in_the_same_cell(
    west: float, south: float, east: float, north: float
) -> None:
    """Cells agree between any two grids: the outline of a cell does not depend on who asks."""
    small = Grid.covering((west, south, west + 3, south + 3), cell_m=0.5, crs="EPSG:25832")
    large = Grid.covering((-3000, -3000, 3000, 3000), cell_m=0.5, crs="EPSG:25832")
    place = np.array([east]), np.array([north])
    (row_a, col_a), (row_b, col_b) = small.row_col(*place), large.row_col(*place)
    assert row_a - small.north_row == row_b - large.north_row
    assert col_a + small.west_col == col_b + large.west_col


def test_window_of_finds_the_padded_grid_again() -> None:
    """The window of a grid in its own padding is the padding cut off."""
    grid = Grid.covering((10, 20, 15, 24), cell_m=0.5, crs="EPSG:25832")
    assert grid.pad(1.2).window_of(grid) == (slice(3, 11), slice(3, 13))


def test_window_of_refuses_another_lattice_and_what_reaches_outside() -> None:
    """A window on other cells or beyond the edge is an error of the caller."""
    grid = Grid.covering((10, 20, 15, 24), cell_m=0.5, crs="EPSG:25832")
    with pytest.raises(ValueError, match="lattices"):
        grid.window_of(Grid.covering((10, 20, 15, 24), cell_m=1.0, crs="EPSG:25832"))
    with pytest.raises(ValueError, match="outside"):
        grid.window_of(grid.pad(1))


def test_transform_agrees_with_row_col_and_centres() -> None:
    """The affine transform, the cell of a place and the centres tell the same story."""
    grid = Grid.covering((412500, 6051300, 412510, 6051308), cell_m=0.5, crs="EPSG:25832")
    east, north = grid.centres()
    row, col = grid.row_col(east[[3]], north[[5]])
    assert (row[0], col[0]) == (5, 3)
    assert grid.transform @ (3.5, 5.5) == (east[3], north[5])
    assert grid.cell_index(np.array([0.0]), np.array([0.0]))[0] == -1
    assert grid.contains(east[[3]], north[[5]]).all()


@given(
    west=st.floats(-30, 60), south=st.floats(-30, 60), wide=st.floats(0, 50), high=st.floats(0, 50), n=st.integers(0, 3)
)
def test_window_around_holds_every_cell_a_rectangle_touches(
    west: float, south: float, wide: float, high: float, n: int
) -> None:
    """Those whose squares meet it, told cell by cell, and n more all round; nothing where it lies outside."""
    grid = Grid.covering((0, 0, 40, 30), cell_m=2.0, crs="EPSG:25832")
    east, north = grid.centres()
    rows, cols = grid.window_around((west, south, west + wide, south + high), margin_cells=n)
    # A cell holds its west and south edge, but not the others.
    touched_cols = (np.floor(west / 2) - n <= np.floor(east / 2)) & (
        np.floor(east / 2) <= np.floor((west + wide) / 2) + n
    )
    touched_rows = (np.floor(south / 2) - n <= np.floor(north / 2)) & (
        np.floor(north / 2) <= np.floor((south + high) / 2) + n
    )
    np.testing.assert_array_equal(np.arange(grid.cols)[cols], np.flatnonzero(touched_cols))
    np.testing.assert_array_equal(np.arange(grid.rows)[rows], np.flatnonzero(touched_rows))
    part = grid.part((rows, cols))
    if part.rows and part.cols:
        assert grid.window_of(part) == (rows, cols)


@given(*(st.integers(-60, 60) for _ in range(4)))
def test_within_is_what_two_grids_have_in_common(west: int, south: int, width: int, height: int) -> None:
    """Cell for cell, also where they only touch or lie apart."""
    grid = Grid("EPSG:25832", -20, 30, 0.5, 40, 50)
    bounds = (west / 2, south / 2, (west + abs(width)) / 2, (south + abs(height)) / 2)
    part = grid.within(bounds)
    east, north = (axis.ravel() for axis in np.meshgrid(*grid.centres()))
    inside = (east > bounds[0]) & (east < bounds[2]) & (north > bounds[1]) & (north < bounds[3])
    assert part.rows * part.cols == inside.sum()
    if inside.any():
        window = grid.window_of(part)
        assert inside.reshape(grid.shape)[window].all()


def test_bands_cover_a_grid_once() -> None:
    """From north to south, each of whole steps but the last."""
    grid = Grid("EPSG:25832", -20, 30, 0.5, 1300, 50)
    bands = list(grid.bands(step_rows=512, most_cells=100))
    assert [band.rows for band in bands] == [512, 512, 276]
    assert bands[0].bounds[3] == grid.bounds[3]
    assert bands[-1].bounds[1] == grid.bounds[1]
    assert len(list(grid.bands())) == 1
