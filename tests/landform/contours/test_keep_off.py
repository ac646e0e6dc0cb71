"""Contours are bent around the symbols of knolls and hollows without touching each other."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.features import make_features
from pipeline.landform.contours.keep_off import Symbols, bend_around, keep_off
from pipeline.landform.contours.legibility import count_crossings
from tests import landscape

CLEAR_M = 5.85  # half of 0.5 mm and the line's 0.14 mm, times 15


def lines_every(spacing_m: float) -> list[np.ndarray]:
    """Straight lines running east, spaced northwards, vertices every metre."""
    east = np.arange(-60.0, 61)
    return [np.column_stack([east, np.full_like(east, north)]) for north in np.arange(-40, 41, spacing_m)]


def symbol_at(east_m: float, north_m: float, push_m: float = CLEAR_M) -> Symbols:
    """One knoll."""
    return Symbols(np.array([[east_m, north_m]]), np.array([CLEAR_M]), np.array([push_m]))


@pytest.mark.parametrize("north_m", [0.0, 0.4, -2.0, 5.0])
def test_a_line_through_a_symbol_passes_beside_it(north_m: float) -> None:
    """With room enough the line keeps the symbol's distance, less the metre that gives it a side."""
    bent = bend_around(lines_every(40), symbol_at(3, north_m), apart_m=4.35, least_side_m=1.0)
    away_m = min(shapely.LineString(line).distance(shapely.Point(3, north_m)) for line in bent)
    assert away_m >= CLEAR_M - 1.1


def test_lines_far_from_symbols_are_the_same_objects() -> None:
    """What is not near is not touched at all."""
    lines = lines_every(20)
    bent = bend_around(lines, symbol_at(0, 10), apart_m=4.35, least_side_m=1.0)
    assert all(after is before for after, before in zip(bent, lines, strict=True))


@given(east_m=st.floats(-20, 20), north_m=st.floats(-20, 20), spacing_m=st.sampled_from([6.0, 10.0, 15.0]))
@settings(max_examples=25, deadline=None)
def test_bent_lines_neither_cross_nor_come_too_near(east_m: float, north_m: float, spacing_m: float) -> None:
    """Wherever the symbol lies, lines keep their order and their least distance."""
    bent = [
        shapely.LineString(line)
        for line in bend_around(lines_every(spacing_m), symbol_at(east_m, north_m), apart_m=4.35, least_side_m=1.0)
    ]
    assert count_crossings(bent) == 0
    nearest = min(one.distance(other) for one, other in itertools.pairwise(bent))
    assert nearest >= 4.3


def test_on_steep_ground_lines_move_only_as_far_as_the_standard_lets_them() -> None:
    """On 45 degrees a contour moves by the 0.75 m it may be off in height at most, on 5 by the symbol's room."""
    grid = landscape.grid_of()
    east, north = landscape.middle_of(grid)
    line = shapely.LineString([(east - 50 + step, north) for step in range(101)])
    lines = make_features([line], crs=grid.crs, symbol="101", confidence=1, evidence="x", elevation_m=150)
    knoll = make_features([shapely.Point(east, north + 2)], crs=grid.crs, symbol="109", confidence=1, evidence="x")
    moved_m = []
    for rise_deg in (45, 5):
        surface = landscape.plane(grid, rise_deg=rise_deg)
        bent = keep_off(lines, knoll, surface, grid, max_shift_m=0.75, vertex_spacing_m=3).geometry[0]
        moved_m.append(float(shapely.hausdorff_distance(line, bent)))
    assert moved_m[0] <= 0.75 + 0.1
    assert moved_m[1] > 2


def test_a_ring_that_begins_beside_a_symbol_keeps_the_rest_of_its_vertices() -> None:
    """Wherever a ring begins, vertices away from the symbol stay where they are."""
    grid = landscape.grid_of()
    middle = np.array(landscape.middle_of(grid))
    around = np.linspace(0, 2 * np.pi, 64)
    ring = middle + 40 * np.column_stack([np.cos(around), np.sin(around)])
    ring[-1] = ring[0]
    knoll = make_features([shapely.Point(ring[0] + [2, 0])], crs=grid.crs, symbol="109", confidence=1, evidence="x")
    surface = landscape.plane(grid, rise_deg=5)
    far = {tuple(place) for place in ring if np.hypot(*(place - ring[0])) > 15}
    for first in (0, 20):
        begun = np.concatenate([ring[first:-1], ring[: first + 1]])
        line = make_features(
            [shapely.LineString(begun)], crs=grid.crs, symbol="101", confidence=1, evidence="x", elevation_m=150
        )
        bent = keep_off(line, knoll, surface, grid, max_shift_m=0.75, vertex_spacing_m=3).geometry[0]
        assert bent.is_closed
        assert bent.distance(knoll.geometry[0]) > 3
        assert far <= set(bent.coords)
