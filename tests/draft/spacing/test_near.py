"""Vertices looked up by squares, pushed apart and spread along their lines, against SciPy and against all pairs."""

from __future__ import annotations

from typing import Literal

import numpy as np
import pytest
import shapely
from scipy import ndimage
from scipy.spatial import cKDTree
from scipy.spatial.distance import cdist

from pipeline.draft.spacing.near import Squares
from pipeline.draft.spacing.pairs import Needs, Pairs, nearest_other_m
from pipeline.draft.spacing.threads import FULL_SHARE, SMOOTH_M, STEP_M, Threads, threads_of
from pipeline.lattice.grid import EastNorth
from tests.paths import symbols

CORNER = np.array([600_000.0, 5_300_000.0])
SYMBOLS = np.array(["101", "102", "101", "103"])


def some_places(seed: int, n: int, *, side_m: float = 100.0) -> EastNorth:
    """Places strewn over a square."""
    return CORNER + np.random.default_rng(seed).random((n, 2)) * side_m


def some_lines() -> Threads:
    """A ring, a straight line through it, a bend with near flanks, and a line apart from all of these."""
    angle = np.linspace(0, 2 * np.pi, 60)
    ring = np.column_stack((30 * np.sin(angle), 30 * np.cos(angle)))
    ring[-1] = ring[0]
    bend = [(50, -40), (52, 40), (56, 40), (58, -40)]
    shapes = [ring, [(-40, 3), (49, 5)], bend, [(-60, 90), (60, 95)]]
    return threads_of(np.array([shapely.LineString(np.array(shape) + CORNER) for shape in shapes], np.object_))


@pytest.mark.parametrize("n_seeds", [0, 1, 40])
def test_the_same_places_are_near_as_a_tree_finds(n_seeds: int) -> None:
    """Also beyond the squares that the seeds lie in."""
    seeds, places = some_places(1, n_seeds), some_places(2, 500, side_m=130.0) - 15
    expected = cKDTree(seeds).query(places, distance_upper_bound=9.0)[0] < 9.0 if n_seeds else np.zeros(500, bool)
    found = Squares.of(seeds, side_m=9.0).have_near(places)
    np.testing.assert_array_equal(found, expected)
    assert n_seeds < 2 or 0 < found.sum() < 500


def test_only_the_chosen_places_are_looked_at() -> None:
    """Numbers of places stay those of all of them."""
    seeds, places = some_places(3, 60), some_places(4, 300)
    chosen = np.arange(60) % 3 == 0
    expected = Squares.of(seeds[chosen], side_m=7.0).have_near(places)
    np.testing.assert_array_equal(Squares.of(seeds, side_m=7.0).only(chosen).have_near(places), expected)


def test_the_nearest_of_another_line_is_found() -> None:
    """As near as the least of all distances, and infinite beyond reach."""
    threads = some_lines()
    others = threads.line != 3
    chosen = np.arange(0, len(threads.places), 3)
    far = cdist(threads.places[chosen], threads.places[others])
    far[threads.line[chosen][:, None] == threads.line[others][None, :]] = np.inf
    expected = np.where(far.min(axis=1) < 60.0, far.min(axis=1), np.inf)
    found = nearest_other_m(threads, others, chosen, reach_m=60.0)
    np.testing.assert_allclose(found, expected)
    assert np.isinf(found).any()
    assert np.isfinite(found).any()


@pytest.mark.parametrize("may_m", [0.0, 4.0])
def test_pairs_are_those_of_all_vertices_that_may_come_too_near(may_m: float) -> None:
    """Each pair once, of two lines and of two flanks of a bend, none of vertices that follow each other."""
    threads = some_lines()
    needs = Needs.of(threads, SYMBOLS, symbols())
    n = len(threads.places)
    pairs = Pairs.of(threads, needs, np.arange(n), np.full(n, may_m))
    far = cdist(threads.places, threads.places)
    same = threads.line[:, None] == threads.line[None, :]
    gap = np.minimum(needs.gap_m[:, None], needs.gap_m[None, :]) + needs.half_m[:, None] + needs.half_m[None, :] + 0.2
    first, second = np.nonzero(np.triu(~same & (far < gap + 2 * may_m)))
    of_two = threads.line[pairs.first] != threads.line[pairs.second]
    np.testing.assert_array_equal(pairs.first[of_two], first)
    np.testing.assert_array_equal(pairs.second[of_two], second)
    assert set(threads.line[pairs.first[~of_two]]) == {2}, "the flanks of the bend"
    assert (np.abs(threads.along_m[pairs.first] - threads.along_m[pairs.second])[~of_two] > 20).all()


def test_the_nearest_other_decides_the_push() -> None:
    """Two vertices that are too near go half of what they lack, away from each other; outside the zone none does."""
    threads = some_lines()
    needs = Needs.of(threads, SYMBOLS, symbols())
    n = len(threads.places)
    pairs = Pairs.of(threads, needs, np.arange(n), np.zeros(n))
    push = pairs.pushes(threads.places, np.ones(n, bool))
    pushed = np.flatnonzero(push.any(axis=1))
    assert set(threads.line[pushed]) == {0, 1, 2}
    for vertex in pushed:
        at, by = np.concatenate([(pairs.first, pairs.second), (pairs.second, pairs.first)], axis=1)
        asked = np.tile(pairs.asked_m, 2)[at == vertex]
        way = threads.places[vertex] - threads.places[by[at == vertex]]
        lack = asked - np.hypot(*way.T)
        assert np.hypot(*push[vertex]) == pytest.approx(lack.max() / 2)
        assert push[vertex] @ way[np.isclose(lack, lack.max())][-1] > 0
    assert not pairs.pushes(threads.places, np.zeros(n, bool)).any()


def test_a_push_is_spread_as_a_bell() -> None:
    """Bit by bit what SciPy's filter gives, around a ring and at the end of a line."""
    threads = some_lines()
    push = np.zeros_like(threads.places)
    ring, line = threads.of_line(0), threads.of_line(1)
    push[ring.start : ring.start + 3] = (0.3, -0.2)
    push[line.stop - 2 : line.stop] = (-0.7, 0.1)
    found = threads.spread(push)
    modes: tuple[Literal["wrap", "nearest"], ...] = ("wrap", "nearest")
    for at, mode in zip((slice(ring.start, ring.stop - 1), line), modes, strict=True):
        mean = ndimage.gaussian_filter1d(push[at], SMOOTH_M / STEP_M, axis=0, mode=mode)
        share = ndimage.gaussian_filter1d(push[at].any(axis=1).astype(float), SMOOTH_M / STEP_M, mode=mode)
        np.testing.assert_array_equal(found[at], mean / np.maximum(share, FULL_SHARE)[:, None])
    np.testing.assert_array_equal(found[ring.stop - 1], found[ring.start])
    assert not found[threads.of_line(2)].any()
    assert found[ring.stop - 5].any(), "the ring goes on at its beginning"
