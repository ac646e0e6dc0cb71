"""Bands and speeds from density, drawn as a mapper would see them."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from rasterio.features import rasterize

from pipeline.lattice.grid import Grid
from pipeline.settings import VegetationSettings
from pipeline.vegetation.areas.kinds import MIN_AREA_M2
from pipeline.vegetation.draft import draft_vegetation, limits_of
from pipeline.vegetation.running.runnability import BAND_SYMBOLS, band_of, running_speed
from tests.pulse_scene import EXTINCTION, Forest, crown_field, forest_draft, profile_of, shoot

LIMITS = (0.1, 0.4, 0.9)
GRID = Grid("EPSG:25832", 0, 240, 1.0, 160, 160)
EAST, NORTH = np.meshgrid(*GRID.centres())
CROWN = np.full(GRID.shape, 0.06, np.float32)
DISCS = {"406": (40.0, 200.0, 0.22), "408": (115.0, 200.0, 0.55), "410": (80.0, 125.0, 1.2)}


def three_thickets() -> np.ndarray:
    """Three discs of 25 m radius, one of each green, in white forest."""
    field = np.full(GRID.shape, 0.03, np.float32)
    for east, north, density in DISCS.values():
        field[(EAST - east) ** 2 + (NORTH - north) ** 2 < 25**2] = density
    return field


def drawn_bands(draft) -> np.ndarray:
    """(rows, cols) band by the polygons, 0 where none."""
    symbols = {"406": 1, "407": 1, "408": 2, "409": 2, "410": 3}
    areas = draft.features[draft.features["symbol"].isin(symbols)]
    pairs = [(shape, symbols[symbol]) for shape, symbol in zip(areas.geometry, areas["symbol"], strict=True)]
    return rasterize(pairs, out_shape=GRID.shape, transform=GRID.transform) if pairs else np.zeros(GRID.shape)


def test_thickets_are_drawn_where_they_are():
    """Each green disc comes back in its own band, on 90 % of its area, under canopy."""
    draft = forest_draft(GRID, three_thickets(), CROWN)
    for symbol, (east, north, _) in DISCS.items():
        disc = shapely.Point(east, north).buffer(25)
        found = shapely.union_all(draft.features[draft.features["symbol"] == symbol].geometry.to_numpy())
        # Between 410 and white lies a rim of lighter greens a few metres wide.
        assert found.intersection(disc).area > 0.85 * disc.area


def test_white_forest_stays_white():
    """Nothing but a few twigs: no green at all."""
    draft = forest_draft(GRID, np.full(GRID.shape, 0.03, np.float32), CROWN)
    assert draft.features.empty


def test_bands_do_not_depend_on_canopy():
    """The same undergrowth under none, half and full canopy is drawn alike on 90 % of the area."""
    field = three_thickets()
    under = [drawn_bands(forest_draft(GRID, field, np.full(GRID.shape, crown, np.float32))) for crown in (0.06, 0.25)]
    assert (under[0] == under[1]).mean() > 0.9


def test_thinning_pulses_changes_little():
    """From 10 to 3 pulses per m2 bands change on less than 10 % of the area."""
    field = three_thickets()
    dense, thin = (drawn_bands(forest_draft(GRID, field, CROWN, pulses_per_m2=n)) for n in (10, 3))
    assert (dense != thin).mean() < 0.1


def test_undergrowth_below_eye_height_has_good_visibility():
    """Knee-high growth is 407 or 409: it slows, but one sees over it."""
    forest = shoot(GRID, np.full(GRID.shape, 0.6, np.float32), CROWN, pulses_per_m2=6.0, seed=1)
    is_shrub = (forest.asprs_class > 2) & (forest.height_m < 2.5)
    low = np.where(is_shrub, 0.3 + forest.height_m * 0.25, forest.height_m)
    settings = VegetationSettings()
    profile = profile_of(Forest(forest.cloud, forest.asprs_class, low.astype(np.float32)), GRID, settings)
    flat = np.zeros(GRID.shape, np.float32)
    low_draft = draft_vegetation(profile, flat, flat, GRID, settings=settings)
    tall_draft = forest_draft(GRID, np.full(GRID.shape, 0.55, np.float32), CROWN)
    assert set(low_draft.features["symbol"]) <= {"407", "409", "410"}
    assert "409" in set(low_draft.features["symbol"])
    assert set(tall_draft.features["symbol"]) == {"408"}


def test_what_is_not_seen_is_neither_white_nor_green():
    """Crowns that let nothing through: density and speed unknown, the area named as not seen."""
    roof = np.where(EAST < 80, 3.0, 0.06).astype(np.float32)
    draft = forest_draft(GRID, np.full(GRID.shape, 0.03, np.float32), roof)
    dark = EAST < 50
    assert np.isnan(draft.understorey[dark]).all()
    assert np.isnan(draft.running_speed[dark]).all()
    assert draft.not_seen.area.sum() > 0.8 * 80 * 160
    assert not np.isnan(draft.understorey[EAST > 90]).any()


def test_areas_neither_overlap_nor_fall_below_their_size():
    """A forest of random thickets: the rules of the standard hold for every polygon."""
    rng = np.random.default_rng(6)
    field = crown_field(GRID, rng.uniform((0, 80), (160, 240), (40, 2)), radius_m=6.0, density=0.7)
    areas = forest_draft(GRID, field, CROWN).features
    areas = areas[areas.geom_type == "Polygon"]
    assert len(areas) > 3
    assert areas.area.sum() == pytest.approx(shapely.union_all(areas.geometry.to_numpy()).area)
    assert all(area >= MIN_AREA_M2[symbol] - 1e-6 for area, symbol in zip(areas.area, areas["symbol"], strict=True))


@given(st.lists(st.floats(0, 10), min_size=2, max_size=20))
def test_speed_falls_with_density(densities: list[float]):
    """Never faster in thicker growth, always between 0 and 1."""
    speed = running_speed(np.sort(np.array(densities, np.float32)), limits=LIMITS)
    assert (np.diff(speed) <= 1e-6).all()
    assert ((speed >= 0) & (speed <= 1)).all()


@given(st.floats(0, 5))
def test_bands_and_speeds_say_the_same(density: float):
    """A band is a range of speed: 80, 60 and 20 %."""
    value = np.array([density], np.float32)
    band = int(band_of(value, limits=LIMITS)[0])
    speed = float(running_speed(value, limits=LIMITS)[0])
    low, high = [(0.8, 1.0), (0.6, 0.8), (0.2, 0.6), (0.0, 0.2)][band]
    assert low - 1e-4 <= speed <= high + 1e-4


def test_unknown_density_has_no_band():
    """NaN is -1, not white."""
    assert band_of(np.array([np.nan, 0.0], np.float32), limits=LIMITS).tolist() == [-1, 0]
    assert np.isnan(running_speed(np.array([np.nan], np.float32), limits=LIMITS)[0])
    assert len(BAND_SYMBOLS) == 4


def test_default_limits_stop_a_tenth_a_third_and_two_thirds():
    """0.1, 0.4 and 0.9 m2/m3 over 2.2 m at k = 0.5 stop about 10, 36 and 63 % of the pulses."""
    limits = np.array(limits_of(VegetationSettings()))
    np.testing.assert_allclose(1 - np.exp(-limits * EXTINCTION * 2.2), [0.10, 0.36, 0.63], atol=0.005)


def test_limits_out_of_order_are_refused():
    """406 begins before 408."""
    with pytest.raises(ValueError, match="must rise"):
        limits_of(VegetationSettings(slow_from_m2_per_m3=0.5))
