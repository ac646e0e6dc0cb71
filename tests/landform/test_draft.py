"""The whole draft of landforms: everything in one table, whatever the ground."""

import numpy as np
import pytest

from pipeline.landform.draft import draft_landforms
from pipeline.lattice.grid import Grid
from pipeline.settings import LandformSettings
from tests import landscape

SETTINGS = LandformSettings()


def draft(ground: np.ndarray, grid: Grid, *, scale: int = 10000, gap_m: float = 0.2):
    """Everything found with ground returns that far apart."""
    gap = np.full(grid.shape, gap_m, np.float32)
    return draft_landforms(ground, gap, 0 * gap, grid, interval_m=5, scale=scale, settings=SETTINGS)


def varied(grid: Grid) -> np.ndarray:
    """A hill with a knoll, a pit and a gully on its flank."""
    ground = landscape.cone(grid, top_m=140, rise=0.25)
    ground += landscape.bump(grid, east_m=45, north_m=40, height_m=2, radius_m=5)
    ground += landscape.bump(grid, east_m=-45, north_m=-40, height_m=-2, radius_m=3.5)
    return ground + landscape.noise(grid, spread_m=0.05)


def test_one_table_with_contours_knolls_and_pits() -> None:
    """Symbols, valid geometries, confidences and evidence for all of them."""
    grid = landscape.grid_of(cell_m=0.5)
    found = draft(varied(grid), grid)
    assert {"101", "102", "109", "112"} <= set(found.symbol)
    assert found.geometry.is_valid.all()
    assert found.confidence.between(0, 1).all()
    assert found.evidence.str.len().min() > 10
    assert found.crs.to_string() == grid.crs
    contours = found[found.symbol.isin(["101", "102", "103"])]
    assert contours.elevation_m.notna().all()
    assert (contours.geometry.geom_type == "LineString").all()


def test_poorly_seen_ground_lowers_every_confidence() -> None:
    """With returns 6 m apart nothing is surer than with returns 0.2 m apart."""
    grid = landscape.grid_of(side_m=120)
    ground = landscape.cone(grid)
    well, badly = draft(ground, grid), draft(ground, grid, gap_m=6.0)
    assert badly.confidence.max() < well.confidence.min()


def test_the_edge_of_a_gap_in_the_returns_is_no_bank() -> None:
    """A step of the surface is a bank where returns lie on it, and nothing where none is near."""
    grid = landscape.grid_of(side_m=120, cell_m=0.5)
    x, y = landscape.from_middle(grid)
    step = 2 * np.clip(y / 3.5 + 0.5, 0, 1) * np.clip(1.6 - np.abs(x) / 20, 0, 1)
    ground = landscape.plane(grid, rise_deg=3) + landscape.as_heights(step) + landscape.noise(grid, spread_m=0.05)
    for gap_m, n_found in ((0.4, 1), (5.0, 0)):
        gap = np.where(np.abs(y) < 10, gap_m, 0.4).astype(np.float32)
        found = draft_landforms(ground, gap, 0 * gap, grid, interval_m=5, scale=10000, settings=SETTINGS)
        assert (found.symbol == "104").sum() == n_found


def test_noise_and_canopy_lower_the_confidence() -> None:
    """Under tall trees, or with ground noise of 0.4 m, every contour and knoll is less sure than on clean ground."""
    grid = landscape.grid_of(side_m=120, cell_m=0.5)
    ground = landscape.cone(grid, top_m=128, rise=0.2)
    ground += landscape.bump(grid, east_m=30, north_m=20, height_m=2.5, radius_m=7)
    gap = np.full(grid.shape, 0.2, np.float32)
    clean = draft(ground, grid)
    noisy = draft(ground + landscape.noise(grid, spread_m=0.4), grid)
    wooded = draft_landforms(ground, gap, gap + 25, grid, interval_m=5, scale=10000, settings=SETTINGS)
    for symbols in (["101", "102"], ["109", "110"]):
        mean = [table[table.symbol.isin(symbols)].confidence.mean() for table in (clean, noisy, wooded)]
        doubt = 1 - np.array(mean)
        assert (doubt[1:] > 1.5 * doubt[0]).all()
        assert (doubt < 1).all(), "they are drawn all the same"


def test_the_draft_is_the_same_every_time() -> None:
    """Two runs on the same ground give the same table."""
    grid = landscape.grid_of(side_m=120)
    first, second = (draft(varied(grid), grid) for _ in range(2))
    assert first.equals(second)


def test_unknown_and_tiny_areas_give_an_empty_table() -> None:
    """Nothing known, one row, or one cell: no features, no error."""
    grid = landscape.grid_of(side_m=50)
    assert len(draft(np.full(grid.shape, np.nan, np.float32), grid)) == 0
    for rows, cols in ((1, 40), (1, 1), (3, 3)):
        small = Grid(landscape.CRS, 500_000, 6_000_000, 1.0, rows, cols)
        assert len(draft(np.full((rows, cols), 100, np.float32), small)) == 0


def test_a_void_in_the_middle_is_left_empty() -> None:
    """Nothing is drawn inside unknown ground."""
    grid = landscape.grid_of()
    ground = landscape.cone(grid)
    ground[80:120, 80:120] = np.nan
    found = draft(ground, grid)
    east, north = landscape.middle_of(grid)
    inside = found.cx[east - 18 : east + 18, north - 18 : north + 18]
    assert len(inside) == 0
    assert len(found) > 5


def test_rasters_must_fit_the_grid() -> None:
    """A raster of another shape is refused with its name."""
    grid = landscape.grid_of(side_m=50)
    ground = landscape.cone(grid)
    with pytest.raises(ValueError, match="ground_support"):
        draft_landforms(ground, ground[1:], ground, grid, interval_m=5, scale=10000, settings=SETTINGS)
