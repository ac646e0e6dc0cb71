"""How well the ground was seen."""

import numpy as np

from pipeline.terrain.seen import ground_noise, how_well_seen, surrounded
from pipeline.terrain.surface import ground_support
from tests import landscape


def test_trust_falls_with_the_gap_and_a_little_under_trees() -> None:
    """Half is gone at the half-seen gap; tall trees take a tenth; nowhere seen is nothing."""
    gap = np.array([[0.0, 4.0, 40.0, np.nan, 0.0]], np.float32)
    canopy = np.array([[0.0, 0.0, 0.0, 0.0, 30.0]], np.float32)
    got = how_well_seen(gap, canopy, 0 * canopy)
    np.testing.assert_allclose(got, [[1, 0.5, 0.0099, 0, 0.9]], atol=1e-3)


def test_trust_falls_with_noise() -> None:
    """Half is gone where the noise is half a metre."""
    sure = np.zeros((1, 3), np.float32)
    noise = np.array([[0.0, 0.5, 5.0]], np.float32)
    got = how_well_seen(sure, sure, noise)
    np.testing.assert_allclose(got, [[1, 0.5, 0.0099]], atol=1e-3)


def test_noise_is_measured_and_shape_is_not() -> None:
    """Errors of 0.3 m are found within a tenth on a slope with a knoll; the ground itself has none."""
    grid = landscape.grid_of(side_m=100, cell_m=0.5)
    ground = landscape.plane(grid, rise_deg=20) + landscape.bump(grid, east_m=0, north_m=0, height_m=2, radius_m=6)
    assert ground_noise(ground, grid).max() < 0.05
    rough = ground_noise(ground + landscape.noise(grid, spread_m=0.3), grid)
    np.testing.assert_allclose(rough[20:-20, 20:-20], 0.3, rtol=0.1)
    ground[:, 100:] = np.nan
    assert np.isfinite(ground_noise(ground, grid)).all()


def test_what_returns_surround_ends_at_the_last_of_them() -> None:
    """Returns west of a line, with a shadow 10 m wide and a lake 40 m wide among them."""
    grid = landscape.grid_of(side_m=120, cell_m=0.5)
    x, y = np.random.default_rng(4).uniform(-60, 60, (2, 4 * 120 * 120))
    is_seen = (x < 30) & (np.hypot(x - 10, y - 40) > 5) & (np.hypot(x + 20, y + 10) > 20)
    places = np.column_stack([x, y])[is_seen] + landscape.middle_of(grid)
    inside = surrounded(ground_support(places, grid), grid)
    east, north = landscape.from_middle(grid)
    assert inside[(east < -42) & (np.abs(east) < 58) & (np.abs(north) < 58)].all()
    assert inside[np.hypot(east - 10, north - 40) < 5].all()
    assert not inside[np.hypot(east + 20, north + 10) < 19].any()
    assert not inside[east > 31].any()
