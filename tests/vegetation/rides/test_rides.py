"""Rides are straight openings through forest; gaps in a row, winding paths and field edges are none."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest
import shapely

from pipeline.lattice.grid import Grid
from pipeline.settings import VegetationSettings
from pipeline.vegetation.draft import limits_of
from pipeline.vegetation.rides import counts
from pipeline.vegetation.rides.counts import RIDE_COUNTS, Counts
from pipeline.vegetation.rides.follow import Ride, _best_run, _without_weak_ends
from pipeline.vegetation.rides.rides import find_rides, ride_candidates
from pipeline.vegetation.rides.strip import Strip, section_scores
from pipeline.vegetation.rides.variant import ride_symbol
from tests.pulse_scene import EXTINCTION, crown_field, profile_of, shoot

SETTINGS = VegetationSettings()
GRID = Grid("EPSG:25832", 0, 200, 1.0, 200, 200)
EAST, NORTH = np.meshgrid(*GRID.centres())
NOTHING = np.zeros(GRID.shape, np.float32)


@lru_cache
def forest_of_crowns(seed: int = 0) -> np.ndarray:
    """Crowns of 3 m radius at random over two thirds of the ground."""
    rng = np.random.default_rng(seed)
    return crown_field(GRID, rng.uniform(0, 200, (1500, 2)), radius_m=3.0)


def rides_in(crown: np.ndarray, understorey: np.ndarray = NOTHING) -> list[Ride]:
    """What is found in a forest of these densities."""
    profile = profile_of(shoot(GRID, understorey, crown, pulses_per_m2=4.0, seed=9), GRID, SETTINGS)
    contrast = SETTINGS.ride_min_contrast
    candidates = ride_candidates(profile["clear"], profile["pulses"], GRID, GRID.bounds, min_contrast=contrast)
    return find_rides(candidates, Counts.of(profile, GRID), min_contrast=contrast)


def line_of(ride: Ride) -> shapely.LineString:
    """The ride as a line."""
    return shapely.LineString([ride.start, ride.end])


@pytest.mark.parametrize("angle_deg", [0, 33, 90, 117])
def test_a_ride_is_found_within_two_metres_in_any_direction(angle_deg: float):
    """One straight opening of 4 m, one line along its middle."""
    angle = np.radians(angle_deg)
    across = (NORTH - 100) * np.cos(angle) - (EAST - 100) * np.sin(angle)
    (ride,) = rides_in(np.where(np.abs(across) < 2, 0, forest_of_crowns()))
    for place in (ride.start, ride.end):
        assert abs((place[1] - 100) * np.cos(angle) - (place[0] - 100) * np.sin(angle)) < 2
    assert line_of(ride).length > 180
    assert 3 <= ride.width_m <= 7


@pytest.mark.parametrize("seed", range(2))
def test_forest_without_rides_has_none(seed: int):
    """Crown gaps that happen to lie in a row are no ride."""
    assert rides_in(forest_of_crowns(seed)) == []


def test_even_forest_and_open_land_have_none():
    """Nothing to see where all is alike."""
    assert rides_in(np.full(GRID.shape, 0.1, np.float32)) == []
    assert rides_in(NOTHING) == []


def test_the_edge_of_a_field_is_no_ride():
    """Clear on one side only."""
    assert rides_in(np.where(NORTH > 100, 0, forest_of_crowns())) == []


def test_a_wide_swathe_is_open_land():
    """An opening of 20 m is an area."""
    assert rides_in(np.where(np.abs(NORTH - 100) < 10, 0, forest_of_crowns())) == []


def test_a_winding_path_is_no_ride():
    """What bends is a path."""
    middle = 100 + 25 * np.sin(EAST / 18)
    assert rides_in(np.where(np.abs(NORTH - middle) < 2, 0, forest_of_crowns())) == []


def test_a_ride_through_undergrowth_only_is_found():
    """Cut through thicket below an unbroken canopy."""
    thicket = np.where(np.abs(NORTH - 100) < 2, 0, 0.9).astype(np.float32)
    (ride,) = rides_in(np.full(GRID.shape, 0.03, np.float32), thicket)
    assert abs(ride.start[1] - 100) < 2
    assert abs(ride.end[1] - 100) < 2


def test_a_ride_is_joined_over_closed_crowns():
    """30 m of crowns closing above it do not end a ride."""
    crown = np.where((np.abs(NORTH - 100) < 2) & (np.abs(EAST - 100) > 15), 0, forest_of_crowns())
    (ride,) = rides_in(crown)
    assert line_of(ride).length > 180


def test_a_ride_is_joined_over_open_land_only_where_it_goes_on():
    """In line on both sides of a field: one ride with a gap. On one side only: it ends at the field."""
    field = np.abs(EAST - 130) < 25
    both = np.where(field | (np.abs(NORTH - 100) < 2), 0, forest_of_crowns())
    (ride,) = rides_in(both)
    assert line_of(ride).length > 180
    assert ride.gap_m == pytest.approx(50, abs=24)
    one = np.where(field | ((np.abs(NORTH - 100) < 2) & (EAST < 130)), 0, forest_of_crowns())
    (ride,) = rides_in(one)
    assert max(ride.start[0], ride.end[0]) < 120


@pytest.mark.parametrize(
    ("within", "beside", "symbol"),
    [(0.03, 0.03, "508"), (0.03, 0.6, "508.2"), (0.2, 0.6, "508.3"), (0.6, 1.3, "508.4"), (0.6, 0.03, "508")],
)
def test_the_variant_tells_where_the_ride_is_faster_than_its_surroundings(within: float, beside: float, symbol: str):
    """White in green is 508.2, light green 508.3, green 508.4; alike or worse is plain 508."""
    thicket = np.where(np.abs(NORTH - 100) < 3, within, beside).astype(np.float32)
    profile = profile_of(shoot(GRID, thicket, NOTHING, pulses_per_m2=4.0, seed=2), GRID, SETTINGS)
    line = shapely.LineString([(10, 100), (190, 100)])
    found = ride_symbol(
        line,
        Counts.of(profile, GRID),
        limits=limits_of(SETTINGS),
        layer_m=SETTINGS.running_top_m - SETTINGS.running_bottom_m,
        extinction=EXTINCTION,
    )
    assert found == symbol


@pytest.mark.parametrize("most_parts", [4, 96])
def test_counts_along_a_line_are_those_of_the_cells_it_crosses(monkeypatch: pytest.MonkeyPatch, most_parts: int):
    """Over several parts and beyond the rim, where counts are 0; with room for fewer parts than the line crosses."""
    monkeypatch.setattr(counts, "MOST_PARTS", most_parts)
    grid, rng = Grid("EPSG:25832", 10, 700, 1.0, 600, 300), np.random.default_rng(5 + most_parts)
    profile = {name: rng.integers(0, 9, grid.shape).astype(np.float32) for name in RIDE_COUNTS}
    area = Counts.of(profile, grid)
    for angle in rng.uniform(0, 2 * np.pi, 6):
        unit, start = np.array([np.cos(angle), np.sin(angle)]), rng.uniform((10, 100), (310, 700)) - 200
        found = area.along(start, unit, 50, section_m=8, aside_m=16)
        along, aside = np.meshgrid(np.arange(400) + 0.5, np.arange(-16, 17), indexing="ij")
        east, north = (start[k] + along * unit[k] + aside * left for k, left in ((0, -unit[1]), (1, unit[0])))
        row, col = grid.row_col(east, north)
        inside = (row >= 0) & (row < grid.rows) & (col >= 0) & (col < grid.cols)
        for name, sums in zip(("clear", "pulses"), found, strict=True):
            of_cells = np.where(inside, profile[name][row.clip(0, 599), col.clip(0, 299)], 0)
            assert np.array_equal(sums, of_cells.reshape(50, 8, 33).sum(axis=1))


def test_several_shifts_of_a_line_score_as_each_by_itself():
    """Shifts along the whole line, a turn of it, and none."""
    rng = np.random.default_rng(6)
    pulses = rng.integers(0, 5, (40, 33)).astype(np.float64)
    strip = Strip(np.floor(pulses * rng.uniform(0, 1, pulses.shape)), pulses, np.arange(-16.0, 17.0))
    shifts = np.array([np.full(40, 2.0), np.linspace(-3, 3, 40), np.zeros(40)])
    scores = section_scores(strip, shifts, min_contrast=0.1)
    assert scores.any(axis=1).all()
    assert np.array_equal(scores, [section_scores(strip, shift, min_contrast=0.1) for shift in shifts])
    assert np.array_equal(scores[2], section_scores(strip, 0.0, min_contrast=0.1))


@pytest.mark.parametrize("seed", range(3))
def test_the_clearest_run_is_the_one_that_trying_all_runs_finds(seed: int):
    """Of all runs that no long gap cuts the one of greatest sum, the shortest where several are."""
    rng = np.random.default_rng(seed)
    scores = np.where(rng.random(60) < 0.3, 0.0, rng.integers(-8, 9, 60) / 8.0)
    scores[20:27], scores[40:56] = -0.01, 0.0
    runs = [(first, last) for first in range(60) for last in range(first, 60)]

    def is_cut(first: int, last: int) -> bool:
        here = set(range(first, last + 1))
        return bool(here & set(range(20, 27)) or here & set(range(40, 56)))

    open_to_all = [run for run in runs if not is_cut(*run)]
    best = max(open_to_all, key=lambda run: (scores[run[0] : run[1] + 1].sum(), -run[1], run[0]))
    assert _best_run(scores) == best


def test_a_weak_end_beyond_open_land_is_left_off():
    """One clear section past a field tells nothing; as many as before the field do."""
    before, field = np.full(12, 0.4), np.zeros(6)
    weak = np.concatenate([before, field, np.array([0.1, 0.1, 0.1])])
    assert _without_weak_ends(weak, 0, len(weak) - 1, 0.1) == (1, 11)
    strong = np.concatenate([before, field, before])
    assert _without_weak_ends(strong, 0, len(strong) - 1, 0.1) == (0, len(strong) - 1)
