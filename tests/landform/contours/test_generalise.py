"""The surface contours are traced on: what smoothing keeps and what it takes away."""

import numpy as np
import pytest

from pipeline.landform.contours.generalise import (
    limit_steepness,
    smooth,
    tauten,
)
from pipeline.landform.draft import contour_surface
from pipeline.landform.lines.lines import thin_vertices
from pipeline.settings import LandformSettings
from pipeline.terrain.relief import slope
from tests import landscape

SETTINGS = LandformSettings()


def test_smoothing_keeps_a_plane_and_a_curved_slope() -> None:
    """Constant slope and constant curvature come through unchanged, away from the edge."""
    grid = landscape.grid_of(side_m=80)
    for heights in (landscape.plane(grid, rise_deg=30), landscape.saddle(grid, height_m=100)):
        got = smooth(heights, grid, smoothing_m=2)
        np.testing.assert_allclose(got[20:-20, 20:-20], heights[20:-20, 20:-20], atol=0.01)


def test_smoothing_takes_noise_away() -> None:
    """Independent errors of the cells are at least quartered."""
    grid = landscape.grid_of(side_m=80)
    got = smooth(landscape.noise(grid, spread_m=0.2), grid, smoothing_m=2)
    assert got.std() < 0.05


def test_calming_stays_within_its_band() -> None:
    """No height moves by more than the band, and on steep ground by no more than a fifth of it."""
    grid = landscape.grid_of(side_m=100)
    for rise_deg, band_m in ((0.0, 0.5), (35.0, 0.1)):
        ground = landscape.plane(grid, rise_deg=rise_deg) + landscape.rough(grid, spread_m=1.0)
        calm = tauten(ground, grid, within_m=0.5)
        assert np.abs(calm - ground).max() <= band_m + 0.15 * (rise_deg > 0) + 1e-4
        assert np.abs(calm - ground).max() > 0.05


def test_a_cliff_is_spread_and_gentle_ground_left_alone() -> None:
    """Across a step the slope falls to the limit; far from it nothing changes; nothing moves beyond the allowance."""
    grid = landscape.grid_of(side_m=80)
    ground = landscape.stepped_slope(grid, rise_deg=5, step_m=3.0, face_m=0.5, every_m=200)
    got = limit_steepness(ground, grid, max_rise=1.0, max_shift_m=5.0)
    assert slope(ground, grid).max() > 55
    assert slope(got, grid).max() < 46.5
    np.testing.assert_allclose(got[:30], ground[:30], atol=1e-4)
    capped = limit_steepness(ground, grid, max_rise=1.0, max_shift_m=0.5)
    assert np.abs(capped - ground).max() == pytest.approx(0.5, abs=1e-3)


def test_unknown_ground_stays_unknown() -> None:
    """The generalised surface has NaN exactly where the bare earth has."""
    grid = landscape.grid_of(side_m=60)
    ground = landscape.cone(grid)
    ground[20:30, 20:30] = np.nan
    got, got_grid = contour_surface(ground, grid, interval_m=5, scale=10000, settings=SETTINGS)
    assert got_grid == grid
    assert np.array_equal(np.isnan(got), np.isnan(ground))


@pytest.mark.parametrize("start_m", [0.0, 0.7, 1.5, 2.3])
def test_thinning_keeps_the_tips_of_reentrants(start_m: float) -> None:
    """A re-entrant 10 m deep and 8 m wide stays 10 m deep with vertices 4.5 m apart, wherever the line begins."""
    along = np.arange(start_m, 80, 0.25)
    line = np.column_stack([along, np.where(abs(along - 40) < 4, 10 * np.cos((along - 40) * np.pi / 8), 0)])
    (thin,) = thin_vertices([line], spacing_m=4.5)
    assert thin[:, 1].max() == pytest.approx(10, abs=0.3)
    assert np.hypot(*np.diff(thin, axis=0).T).min() >= 4.5 - 0.05
    np.testing.assert_array_equal(thin[[0, -1]], line[[0, -1]])
