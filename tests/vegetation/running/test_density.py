"""Plant-area density comes out as it was put in, whatever the canopy and however many pulses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.lattice.grid import Grid
from pipeline.settings import VegetationSettings
from pipeline.vegetation.running.density import (
    ENOUGH_PULSES,
    LOW_SPREAD_RATIO,
    MODEL_SPREAD_RATIO,
    count_in_windows,
    density_standard_error,
    layer_thickness_m,
    plant_area_density,
    with_model_error,
)
from pipeline.vegetation.running.undergrowth import low_part
from tests.pulse_scene import EXTINCTION, RUNNING_LAYER, profile_of, shoot

LAYER_M = RUNNING_LAYER[1] - RUNNING_LAYER[0]
GRID = Grid("EPSG:25832", 0, 40, 1.0, 40, 40)
SETTINGS = VegetationSettings()


def whole_area_density(understorey: float, crown: float, *, pulses_per_m2: float = 8.0, seed: int = 1) -> float:
    """Density measured over the whole test area."""
    fields = (np.full(GRID.shape, value, np.float32) for value in (understorey, crown))
    profile = profile_of(shoot(GRID, *fields, pulses_per_m2=pulses_per_m2, seed=seed), GRID, SETTINGS)
    entered, stopped = np.array([profile["entered"].sum()]), np.array([profile["stopped"].sum()])
    return float(plant_area_density(entered, stopped, layer_m=LAYER_M, extinction=EXTINCTION)[0])


@pytest.mark.parametrize("truth", [0.1, 0.4, 0.9])
def test_density_comes_out_as_it_was_put_in(truth: float):
    """Twelve thousand pulses give the density within 6 %: the limits of 406, 408 and 410."""
    assert whole_area_density(truth, 0.0) == pytest.approx(truth, rel=0.06)


@pytest.mark.parametrize("truth", [0.22, 0.55, 1.2])
def test_the_canopy_does_not_matter(truth: float):
    """The same undergrowth under no, half and full canopy differs by less than 15 %."""
    under = [whole_area_density(truth, crown, seed=7) for crown in (0.0, 0.12, 0.3)]
    assert max(under) - min(under) < 0.15 * truth


def test_the_share_of_returns_by_height_does_depend_on_canopy():
    """The control: what is usually counted falls under canopy, so the test above could fail."""
    shares = []
    for crown in (0.0, 0.3):
        fields = (np.full(GRID.shape, value, np.float32) for value in (0.55, crown))
        forest = shoot(GRID, *fields, pulses_per_m2=8.0, seed=7)
        in_layer = (forest.height_m >= RUNNING_LAYER[0]) & (forest.height_m < RUNNING_LAYER[1])
        shares.append(in_layer.mean())
    assert shares[1] < 0.7 * shares[0]


@given(entered=st.integers(1, 10_000), share=st.floats(0, 1))
def test_density_is_finite_and_never_negative(entered: int, share: float):
    """Even where no pulse came through."""
    stopped = np.array([round(entered * share)], np.float64)
    density = plant_area_density(np.array([float(entered)]), stopped, layer_m=LAYER_M, extinction=EXTINCTION)
    assert 0 <= density[0] < 20


@given(entered=st.integers(20, 2000), fewer=st.integers(0, 19))
def test_more_pulses_stopped_means_denser(entered: int, fewer: int):
    """Density rises with the number stopped."""
    pair = plant_area_density(
        np.full(2, float(entered)), np.array([fewer, fewer + 1.0]), layer_m=LAYER_M, extinction=EXTINCTION
    )
    assert pair[0] < pair[1]


def test_no_pulse_no_density():
    """Unknown is NaN, not 0."""
    nothing = np.zeros(1)
    assert np.isnan(plant_area_density(nothing, nothing, layer_m=LAYER_M, extinction=EXTINCTION)[0])
    assert np.isnan(density_standard_error(nothing, nothing, layer_m=LAYER_M, extinction=EXTINCTION)[0])


def test_a_slanted_path_means_less_density():
    """The same share stopped over a path one and a half times as long is two thirds of the density."""
    counts = np.array([1000.0]), np.array([400.0])
    straight, slanted = (
        plant_area_density(*counts, layer_m=LAYER_M, extinction=EXTINCTION, path_ratio=ratio)[0] for ratio in (1, 1.5)
    )
    assert slanted == pytest.approx(straight / 1.5)


@pytest.mark.parametrize("truth", [0.22, 0.55, 1.2])
def test_the_stated_error_covers_the_truth_in_two_thirds_of_cells(truth: float):
    """One sigma is 68 %: between 60 and 80 % of cells lie within it."""
    rng = np.random.default_rng(3)
    entered = np.full(4000, 60.0)
    stopped = rng.binomial(60, -np.expm1(-truth * EXTINCTION * LAYER_M), 4000).astype(float)
    density = plant_area_density(entered, stopped, layer_m=LAYER_M, extinction=EXTINCTION)
    error = density_standard_error(entered, stopped, layer_m=LAYER_M, extinction=EXTINCTION)
    assert 0.6 < np.mean(np.abs(density - truth) <= error) < 0.8


def window_counts(entered: np.ndarray, stopped: np.ndarray):
    """Counts in windows of 1.5 m and wider."""
    return count_in_windows(
        entered.astype(np.float32),
        stopped.astype(np.float32),
        entered.astype(np.float32),
        cell_m=1.0,
        window_m=1.5,
    )


def test_windows_widen_where_few_pulses_reach_the_layer():
    """Both sides of a step in pulse density end up with enough pulses, and with the share that was put in."""
    entered = np.full((60, 60), 8.0)
    entered[:, 30:] = 0.4
    counts = window_counts(entered, 0.25 * entered)
    assert counts.is_seen.all()
    assert counts.entered.min() >= ENOUGH_PULSES
    np.testing.assert_allclose(counts.stopped / counts.entered, 0.25, rtol=1e-4)


def test_where_hardly_a_pulse_arrives_the_layer_is_not_seen():
    """Nothing is said about ground in the dark: not seen is not the same as clear."""
    entered = np.full((80, 80), 8.0)
    entered[:, 40:] = 0.0
    counts = window_counts(entered, np.zeros_like(entered))
    assert counts.is_seen[:, :40].all()
    assert not counts.is_seen[:, 70:].any()


def test_an_upside_down_layer_is_refused():
    """The bottom of a layer lies below its top."""
    assert layer_thickness_m(0.3, 2.5) == pytest.approx(2.2)
    with pytest.raises(ValueError, match="no thickness"):
        layer_thickness_m(2.5, 0.3)


@given(st.floats(0, 5), st.floats(0, 1), st.floats(0.001, 0.5))
def test_the_models_error_widens_the_one_from_pulses(density: float, low_share: float, error: float) -> None:
    """Never below either, and more where much of the growth stands below eye height."""
    low = low_share * density
    both = float(with_model_error(np.array([density]), np.array([low]), np.array([error]))[0])
    assert both >= max(error, MODEL_SPREAD_RATIO * density, LOW_SPREAD_RATIO * low) * (1 - 1e-6)
    none_low = float(with_model_error(np.array([density]), np.zeros(1), np.array([error]))[0])
    assert both >= none_low


@given(st.floats(0, 5), st.one_of(st.just(np.nan), st.floats(0, 8)))
def test_the_low_part_lies_within_the_density(density: float, view: float) -> None:
    """Whatever the windows make of the layer that hides the view; all of it where that layer was not seen."""
    found = float(
        low_part(
            np.array([density], np.float32),
            np.array([view], np.float32),
            running_bottom_m=0.3,
            visibility_bottom_m=1.0,
            running_top_m=2.5,
        )[0]
    )
    assert 0 <= found <= np.float32(density)
    if np.isnan(view):
        assert found == pytest.approx(density, rel=1e-5)
