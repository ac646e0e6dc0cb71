"""Pulses are counted, not returns: what enters a layer, what is stopped in it, and where."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.lattice.grid import Grid
from pipeline.returns.cloud import Cloud
from pipeline.terrain.profile import (
    AIMED,
    MAX_RETURNS_ABOVE,
    MAX_SCAN_ANGLE_DEG,
    PROFILE_NAMES,
    join_pulses,
    profile_grids,
)

LAYERS = {"running_bottom_m": 0.3, "visibility_bottom_m": 1.0, "running_top_m": 2.5}
GRID = Grid("EPSG:25832", 0, 4, 1.0, 4, 4)
GROUND, SHRUB, TREE, BUILDING = 2, 4, 5, 6


def cloud_of(pulses: list[list[tuple[float, int]]], *, east: float = 0.5, north: float = 0.5, timed: bool = True):
    """A cloud of pulses, each a list of (height, class) from first to last return, and its classes and heights."""
    heights = np.array([height for pulse in pulses for height, _ in pulse], np.float32)
    classes = np.array([kind for pulse in pulses for _, kind in pulse], np.uint8)
    number = np.array([i + 1 for pulse in pulses for i in range(len(pulse))], np.uint8)
    count = np.array([len(pulse) for pulse in pulses for _ in pulse], np.uint8)
    time = np.array([float(p) for p, pulse in enumerate(pulses, 1) for _ in pulse]) * timed
    place = np.column_stack((np.full(len(heights), east), np.full(len(heights), north), heights.astype(np.float64)))
    return Cloud.of(place, return_number=number, n_returns=count, gps_time=time), classes, heights


def total(pulses: list[list[tuple[float, int]]], name: str, *, timed: bool = True) -> float:
    """Sum of one grid over these pulses; a pulse outside the grid makes sure that times differ."""
    cloud, classes, heights = cloud_of(pulses, timed=timed)
    elsewhere = Cloud.of(np.array([[99.0, 99.0, 0.0]]), gps_time=np.array([99.0 * timed]))
    cloud = Cloud.join([cloud, elsewhere])
    classes, heights = np.append(classes, np.uint8(GROUND)), np.append(heights, np.float32(0))
    return float(profile_grids(cloud, classes, heights, GRID, **LAYERS)[name].sum())


def test_a_pulse_with_two_returns_in_the_layer_is_stopped_once():
    """Two branches hit by one pulse are one stopped pulse."""
    assert total([[(2.0, SHRUB), (0.8, SHRUB), (0.0, GROUND)]], "stopped") == 1
    assert total([[(2.0, SHRUB), (0.8, SHRUB), (0.0, GROUND)]], "entered") == 1


def test_pulses_stopped_by_the_canopy_never_entered():
    """A crown takes the pulse away from what stands below it."""
    assert total([[(12.0, TREE)], [(0.0, GROUND)]], "entered") == 1
    assert total([[(12.0, TREE)], [(0.0, GROUND)]], "pulses") == 2


def test_low_and_visibility_layer_are_counted_apart():
    """A knee-high plant stops nothing at eye height."""
    pulses = [[(0.6, SHRUB), (0.0, GROUND)]]
    assert total(pulses, "stopped_low") == 1
    assert total(pulses, "stopped_visibility") == 0


@pytest.mark.parametrize("kind", [BUILDING, 1, 17], ids=["building", "unclassified", "bridge"])
def test_what_is_no_plant_stops_nothing(kind: int):
    """Buildings, bridges and boulders (unclassified) are not undergrowth."""
    assert total([[(1.5, kind)]], "stopped") == 0


def test_ending_on_a_building_is_no_entry():
    """A low roof does not show that the layer below is clear."""
    assert total([[(2.0, BUILDING)]], "entered") == 0
    assert total([[(2.0, BUILDING)]], "built") == 1


def test_noise_and_withheld_returns_count_nothing():
    """Noise has no height; a withheld return is not there."""
    cloud, classes, heights = cloud_of([[(1.5, 7)], [(1.5, SHRUB)]])
    heights[0] = np.nan
    cloud = Cloud.of(cloud.enh, gps_time=cloud.gps_time, is_usable=np.array([True, False]))
    grids = profile_grids(cloud, classes, heights, GRID, **LAYERS)
    assert all(grid.sum() == 0 for grid in grids.values())


def test_spent_pulses_are_no_witnesses():
    """A pulse with more crown returns than MAX_RETURNS_ABOVE does not count as entered."""
    crown = [(20.0 - i, TREE) for i in range(MAX_RETURNS_ABOVE + 1)]
    assert total([[*crown, (0.0, GROUND)]], "entered") == 0
    assert total([[*crown[1:], (0.0, GROUND)]], "entered") == 1


def test_without_times_a_shrub_above_the_ground_still_counts_as_stopped():
    """Last returns are the pulses; the return just above one tells that it was stopped."""
    pulses = [[(1.5, SHRUB), (0.0, GROUND)], [(0.0, GROUND)]]
    assert total(pulses, "entered", timed=False) == 2
    assert total(pulses, "stopped", timed=False) == 1


def test_scan_angle_lengthens_the_path():
    """At 60 degrees the path through a layer is twice its thickness; broken angles are held at the limit."""
    cloud, classes, heights = cloud_of([[(0.0, GROUND)], [(0.0, GROUND)]])
    angled = Cloud.of(cloud.enh, gps_time=cloud.gps_time, scan_angle_deg=np.array([30.0, -89.0], np.float32))
    path = profile_grids(angled, classes, heights, GRID, **LAYERS)["path_sum"].sum()
    limit = np.cos(np.radians(MAX_SCAN_ANGLE_DEG))
    assert path == pytest.approx(1 / np.cos(np.radians(30)) + 1 / limit, rel=1e-6)


def test_growth_is_the_height_of_grass():
    """The highest low return tells the height of the growth; taller plants are no grass."""
    pulses = [[(0.5, 3), (0.3, 3), (0.0, GROUND)], [(1.8, SHRUB), (0.4, 3), (0.0, GROUND)]]
    assert total(pulses, "growth") == 1
    assert total(pulses, "growth_height_sum_m") == pytest.approx(0.5)


def test_returns_of_one_pulse_are_joined_whatever_their_order_in_the_file():
    """Shuffling a cloud changes no count."""
    rng = np.random.default_rng(4)
    pulses = [[(9.0, TREE), (1.5, SHRUB), (0.0, GROUND)], [(0.4, 3), (0.0, GROUND)], [(15.0, TREE)]] * 20
    cloud, classes, heights = cloud_of(pulses)
    shuffle = rng.permutation(len(cloud))
    plain = profile_grids(cloud, classes, heights, GRID, **LAYERS)
    mixed = profile_grids(cloud.take(shuffle), classes[shuffle], heights[shuffle], GRID, **LAYERS)
    for name in PROFILE_NAMES:
        np.testing.assert_array_equal(plain[name], mixed[name])


def test_two_pulses_with_the_same_time_stay_two():
    """Coarse times (whole seconds) give short pulses, never one huge one."""
    cloud = Cloud.of(
        np.zeros((4, 3)),
        gps_time=np.array([7.0, 7.0, 7.0, 8.0]),
        return_number=np.array([1, 1, 2, 1], np.uint8),
        n_returns=np.array([2, 1, 2, 1], np.uint8),
    )
    pulses = join_pulses(cloud)
    assert len(pulses.start) == 3


@given(cut=st.integers(1, 3), seed=st.integers(0, 2**16))
def test_blocks_side_by_side_add_up_to_the_whole(cut: int, seed: int):
    """Cutting the grid anywhere gives the same cells, since a pulse belongs to one cell only."""
    rng = np.random.default_rng(seed)
    n = 60
    place = np.column_stack((rng.uniform(0, 4, n), rng.uniform(0, 4, n), rng.uniform(0, 6, n)))
    time = np.repeat(np.arange(1.0, n / 2 + 1), 2)
    number = np.tile(np.array([1, 2], np.uint8), n // 2)
    cloud = Cloud.of(place, gps_time=time, return_number=number, n_returns=np.full(n, 2, np.uint8))
    classes, heights = np.full(n, SHRUB, np.uint8), place[:, 2].astype(np.float32)
    whole = profile_grids(cloud, classes, heights, GRID, **LAYERS)
    left = Grid(GRID.crs, 0, 4, 1.0, 4, cut)
    right = Grid(GRID.crs, cut, 4, 1.0, 4, 4 - cut)
    halves = [profile_grids(cloud, classes, heights, part, **LAYERS) for part in (left, right)]
    for name in PROFILE_NAMES:
        np.testing.assert_array_equal(whole[name], np.hstack([half[name] for half in halves]))


def test_an_empty_cloud_gives_empty_grids():
    """No returns, no counts."""
    grids = profile_grids(Cloud.empty(), np.empty(0, np.uint8), np.empty(0, np.float32), GRID, **LAYERS)
    assert set(grids) == {*PROFILE_NAMES, AIMED}
    assert all(grid.shape == GRID.shape and not grid.any() for grid in grids.values())


def test_columns_of_another_length_are_refused():
    """A class for every return, or nothing."""
    cloud, classes, heights = cloud_of([[(0.0, GROUND)], [(0.0, GROUND)]])
    with pytest.raises(ValueError, match="one value for every return"):
        profile_grids(cloud, classes[:1], heights, GRID, **LAYERS)


def two_channels() -> Cloud:
    """Two channels of one laser that fire together: a pulse of three returns each, in the order of a file by time."""
    height = np.array([20.0, 18.0, 12.0, 10.0, 0.0, 0.5])
    places = np.column_stack((np.array([1.0, 5.0] * 3), np.full(6, 1.0), height))
    return Cloud.of(
        places,
        return_number=np.array([1, 1, 2, 2, 3, 3], np.uint8),
        n_returns=np.full(6, 3, np.uint8),
        gps_time=np.array([7.0] * 6),
        channel=np.array([0, 1] * 3, np.uint8),
    )


def test_channels_that_fire_together_keep_their_pulses_apart() -> None:
    """Returns of one time and line are of two pulses where the scanner channel differs: neither split nor mixed."""
    early = Cloud.of(np.array([[9.0, 9.0, 1.0]]), gps_time=np.array([6.0]))  # without times nothing can be joined
    cloud = Cloud.join([two_channels(), early])
    pulses = join_pulses(cloud)
    parts = np.split(pulses.order, pulses.start[1:])
    assert sorted(sorted(part.tolist()) for part in parts) == [[0, 2, 4], [1, 3, 5], [6]]
    assert sorted(pulses.last.tolist()) == [4, 5, 6]
    assert pulses.is_whole.all()
