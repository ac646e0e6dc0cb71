"""Lines cut and made simpler by squares."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from pipeline.outlines.simpler import simplify_by_squares, with_crossings


def winding(seed: int, n: int = 400) -> np.ndarray:
    """A smooth line that winds over some hundred metres."""
    random = np.random.default_rng(seed)
    turn = np.cumsum(random.normal(0, 0.3, n))
    return np.cumsum(np.column_stack((np.cos(turn), np.sin(turn))), axis=0) + random.uniform(-200, 200, 2)


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_crossings_are_the_same_whichever_way_the_line_runs(seed: int) -> None:
    """To the last bit: two fields that cut one line find one vertex."""
    line, borders = winding(seed), np.arange(-800, 801) * 1.0
    there = with_crossings(line, easts=borders, norths=borders)
    back = with_crossings(line[::-1], easts=borders, norths=borders)
    assert np.array_equal(there, back[::-1])
    assert abs(LineString(there).length - LineString(line).length) < 1e-9
    low = np.minimum(np.floor(there[:-1]), np.floor(there[1:]))
    assert (np.maximum(there[:-1], there[1:]) <= low + 1).all()


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(20, 200))
def test_a_line_seen_in_part_is_the_same_where_it_is_seen_in_whole_squares(seed: int, start: int) -> None:
    """Douglas and Peucker's method alone would draw another line."""
    line = winding(seed)
    whole = simplify_by_squares(line, 0.5, square_m=50.0)
    part = simplify_by_squares(line[start:], 0.5, square_m=50.0)
    square = np.floor(line / 50.0)
    left = np.flatnonzero((square[start:] != square[start]).any(axis=1))
    if not len(left):
        return
    # From the vertex after the first crossing on, both are one line.
    n_same = (square[start + left[0] :] != square[start]).any(axis=1).sum()
    tail = LineString(line[-n_same:])
    near = [np.array([shapely.distance(shapely.points(p), tail) for p in made]) < 1e-9 for made in (whole, part)]
    ends = [made[which][-5:] for made, which in zip((whole, part), near, strict=True)]
    assert len(ends[0])
    assert np.array_equal(ends[0][-len(ends[1]) :], ends[1][-len(ends[0]) :])


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 398))
def test_a_ring_is_the_same_wherever_it_starts(seed: int, start: int) -> None:
    """The first vertex of a ring depends on what else of the ground was seen."""
    ring = np.concatenate((winding(seed), winding(seed)[:1]))
    turned = np.concatenate((ring[start:-1], ring[: start + 1]))
    one, other = (simplify_by_squares(nodes, 0.5, square_m=20.0) for nodes in (ring, turned))
    assert {tuple(node) for node in one} == {tuple(node) for node in other}
    assert shapely.hausdorff_distance(LineString(one), LineString(ring), densify=0.2) <= 0.5 + 1e-9
