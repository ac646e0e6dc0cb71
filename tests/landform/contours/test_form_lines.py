"""Form lines: only where a reader of the contours would be wrong."""

import numpy as np
import pytest

from pipeline.landform.contours.form_lines import pieces_of
from pipeline.landform.contours.legibility import count_crossings, crowded_places
from pipeline.landform.draft import draft_landforms
from pipeline.landform.lines.lines import encloses_higher, is_closed
from pipeline.lattice.grid import Grid, Heights
from pipeline.norm.paper import ground_m
from pipeline.settings import LandformSettings
from tests import landscape

SETTINGS = LandformSettings()


def form_lines(ground: Heights, grid: Grid):
    """The 103 of a whole draft."""
    gap = np.full(grid.shape, 0.4, np.float32)
    draft = draft_landforms(ground, gap, 0 * gap, grid, interval_m=5, scale=10000, settings=SETTINGS)
    return draft[draft.symbol == "103"].reset_index(drop=True)


def test_an_even_slope_needs_no_form_lines() -> None:
    """Between contours that already tell everything there are none, steep or gentle."""
    grid = landscape.grid_of()
    for rise_deg in (4.0, 12.0, 30.0):
        assert len(form_lines(landscape.plane(grid, rise_deg=rise_deg), grid)) == 0


def test_a_hill_between_two_contours_gets_a_closed_form_line() -> None:
    """A hill 3 m high on ground at 100.5 m has no contour; its form line at 102.5 m shows it."""
    grid = landscape.grid_of()
    ground = landscape.level(grid, height_m=100.5)
    ground += landscape.bump(grid, east_m=0, north_m=0, height_m=3.5, radius_m=50)
    found = form_lines(ground, grid)
    assert len(found) == 1
    ring = np.asarray(found.geometry[0].coords)
    assert is_closed(ring)
    assert encloses_higher(ring)
    assert found.elevation_m[0] == 102.5
    assert "m wrong here" in found.evidence[0]


def test_a_rise_of_less_than_the_standard_asks_gets_none() -> None:
    """A swelling of 0.7 m around the form line's level is no hill (ISOM 103: 1 m)."""
    grid = landscape.grid_of()
    ground = landscape.level(grid, height_m=102.2)
    ground += landscape.bump(grid, east_m=0, north_m=0, height_m=0.7, radius_m=50)
    assert len(form_lines(ground, grid)) == 0


def test_a_bench_gets_an_open_form_line_of_the_least_length_or_more() -> None:
    """Where a flat ends in a steep slope, the half-way line lies far from the middle and is drawn."""
    grid = landscape.grid_of()
    _, y = landscape.from_middle(grid)
    ground = landscape.as_heights(np.where(y < 50, 99.9 + 0.04 * y, 101.9 + 0.45 * (y - 50)))
    found = form_lines(ground, grid)
    assert len(found) == 1
    assert found.geometry[0].length >= 0.0042 * 15000
    assert not found.geometry[0].is_closed


@pytest.mark.parametrize(
    ("worth", "expected"),
    [("0011110000", [(2, 6)]), ("1111011111", [(0, 10)]), ("1100000011", []), ("0000000000", [])],
)
def test_runs_are_bridged_and_short_ones_dropped(worth: str, expected: list[tuple[int, int]]) -> None:
    """With stations every 3 m: gaps up to 6 m are bridged, less than 9 m is dropped."""
    mask = np.array([letter == "1" for letter in worth])
    got = pieces_of(mask, np.ones_like(mask), 3.0, bridge_m=6, min_length_m=9)
    assert [(piece.start, piece.stop) for piece in got] == expected


def test_an_interruption_without_room_is_not_bridged() -> None:
    """Where a contour runs too near between two pieces, both end before it."""
    worth = np.array([1, 1, 1, 1, 1, 0, 1, 1, 1, 1, 1], bool)
    free = np.ones_like(worth)
    assert len(pieces_of(worth, free, 3.0, bridge_m=6, min_length_m=9)) == 1
    free[5] = False
    assert len(pieces_of(worth, free, 3.0, bridge_m=6, min_length_m=9)) == 2


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_form_lines_keep_off_contours_and_each_other(seed: int) -> None:
    """On rolling ground no two lines come nearer than the standard's gap, and none meet (ISOM 2.6, 103)."""
    grid = landscape.grid_of(side_m=300)
    ground = landscape.plane(grid, rise_deg=2) + landscape.rough(grid, spread_m=10, finest_m=30, seed=seed)
    gap = np.full(grid.shape, 0.4, np.float32)
    drawn = draft_landforms(ground, gap, 0 * gap, grid, interval_m=5, scale=10000, settings=SETTINGS)
    lines = drawn[drawn.symbol.isin(["101", "102", "103"])]
    assert (lines.symbol == "103").any()
    apart_m = ground_m(0.15 + 0.14)
    close = crowded_places(list(lines.geometry), ground, grid, apart_m=0.9 * apart_m, steepest_deg=45)
    assert len(close) == 0
    assert count_crossings(list(lines.geometry)) == 0
