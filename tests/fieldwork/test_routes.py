"""Outings: all places once, within the limit, nearly as short as can be."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pipeline.fieldwork.outings.routes import MOST_OUTINGS, in_few_walks, plan_outings, walked_minutes

BURMA14 = (
    (16.47, 96.10), (16.47, 94.44), (20.09, 92.54), (22.39, 93.37), (25.23, 97.24), (22.00, 96.05), (20.47, 97.02),
    (17.20, 96.29), (16.30, 97.38), (14.05, 98.12), (16.53, 97.38), (21.52, 95.59), (19.41, 97.13), (20.09, 94.55),
)  # fmt: skip
"""Fourteen places of the library TSPLIB (burma14, Reinelt 1991), typed in from memory as degrees and minutes; the
shortest tour through them is 3323 km long."""
BURMA14_KM = 3323


def made(n: int, seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Minutes of walking between places strewn over a square, there and back differing, looking, worth."""
    rng = np.random.default_rng(seed)
    place = rng.uniform(0, 600, (n + 1, 2))
    walking = np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1)) / 50 * rng.uniform(1.0, 1.1, (n + 1, n + 1))
    np.fill_diagonal(walking, 0)
    return walking, rng.uniform(1, 6, n), rng.uniform(0.1, 1, n)


def shortest(walking: np.ndarray) -> float:
    """Length of the shortest round through all places: every order tried."""
    n = len(walking) - 1
    return min(walked_minutes(order, walking) for order in itertools.permutations(range(n)))


def shortest_in_two(walking: np.ndarray, looking: np.ndarray, limit: float) -> float:
    """Least walking of two rounds within the limit that together visit all: every division tried."""
    n = len(looking)
    best: dict[tuple[int, ...], float] = {(): 0.0}
    for size in range(1, n + 1):
        for part in itertools.combinations(range(n), size):
            index = np.array([0, *(place + 1 for place in part)])
            walked = shortest(walking[np.ix_(index, index)]) if size <= 6 else np.inf
            best[part] = walked if walked + looking[list(part)].sum() <= limit else np.inf
    whole = set(range(n))
    return min(best[part] + best[tuple(sorted(whole - set(part)))] for part in best)


@pytest.mark.parametrize("seed", range(4))
def test_one_outing_is_as_short_as_the_best_of_all_orders(seed: int) -> None:
    """Eight places that fit into one outing: at most a tenth longer than the shortest round; each visited once."""
    walking, looking, worth = made(7, seed)
    outings = plan_outings(walking, looking, worth, limit_minutes=500)
    assert [sorted(outing) for outing in outings] == [list(range(7))]
    assert walked_minutes(outings[0], walking) <= 1.1 * shortest(walking)


@pytest.mark.parametrize("seed", range(2))
def test_two_outings_are_as_short_as_the_best_division(seed: int) -> None:
    """Seven places that need two outings: each once, both within the limit, at most a tenth above the best division."""
    walking, looking, worth = made(7, seed)
    limit = (shortest(walking) + looking.sum()) * 0.75
    outings = plan_outings(walking, looking, worth, limit_minutes=limit)
    assert sorted(itertools.chain(*outings)) == list(range(7))
    assert all(walked_minutes(one, walking) + looking[one].sum() <= limit for one in outings)
    assert sum(walked_minutes(one, walking) for one in outings) <= 1.1 * shortest_in_two(walking, looking, limit)


def test_a_published_tour_is_found() -> None:
    """Fourteen towns whose shortest tour is known: at most a tenth longer (distances as TSPLIB defines them)."""
    whole = np.trunc(np.array(BURMA14))
    radian = np.pi * (whole + 5 * (np.array(BURMA14) - whole) / 3) / 180
    latitude, longitude = radian[:, 0], radian[:, 1]
    q1 = np.cos(longitude[:, None] - longitude)
    q2, q3 = np.cos(latitude[:, None] - latitude), np.cos(latitude[:, None] + latitude)
    km = np.trunc(6378.388 * np.arccos(np.clip(0.5 * ((1 + q1) * q2 - (1 - q1) * q3), -1, 1)) + 1)
    np.fill_diagonal(km, 0)
    outings = plan_outings(km, np.zeros(13), np.ones(13), limit_minutes=1e5)
    assert [sorted(outing) for outing in outings] == [list(range(13))]
    assert BURMA14_KM <= walked_minutes(outings[0], km) <= 1.1 * BURMA14_KM


def test_what_does_not_fit_is_left_out_by_worth() -> None:
    """Places far apart, a limit that lets one be visited on each walk: those of least worth stay at home."""
    n = 15
    walking = np.full((n + 1, n + 1), 50.0)
    np.fill_diagonal(walking, 0)
    worth = np.arange(1.0, n + 1)
    outings = plan_outings(walking, np.full(n, 5.0), worth, limit_minutes=110)
    assert [len(outing) for outing in outings] == [1] * 12
    assert sorted(itertools.chain(*outings)) == list(range(3, 15))
    assert outings[0] == [14]


@pytest.mark.parametrize("seed", range(2))
def test_nothing_is_left_out_that_fits(seed: int) -> None:
    """More places than the walks hold: none of those left out can be put in anywhere within the limit."""
    apart, looking, worth = made(40, seed)
    walking = apart + 20 * (apart > 0)
    limit = 100 + apart[0].max() + apart[:, 0].max()
    outings = plan_outings(walking, looking, worth, limit_minutes=limit)
    left_out = set(range(40)) - set(itertools.chain(*outings))
    assert left_out
    for outing in outings:
        for place, at in itertools.product(left_out, range(len(outing) + 1)):
            longer = [*outing[:at], place, *outing[at:]]
            assert walked_minutes(longer, walking) + looking[longer].sum() > limit


def test_places_out_of_reach_are_on_no_outing() -> None:
    """No way, or a way longer than the outing; with nothing in reach there is no outing."""
    walking = np.array([[0, 10, np.inf, 90], [10, 0, np.inf, 90], [np.inf] * 4, [90, 90, np.inf, 0]], np.float64)
    assert plan_outings(walking, np.ones(3), np.ones(3), limit_minutes=120) == [[0]]
    assert plan_outings(walking, np.ones(3), np.ones(3), limit_minutes=10) == []


def test_the_same_places_give_the_same_outings() -> None:
    """The search counts its steps and not its seconds."""
    walking, looking, worth = made(25, 5)
    first, second = (plan_outings(walking, looking, worth, limit_minutes=90) for _ in range(2))
    assert first == second
    assert len(first) > 1


@pytest.mark.parametrize(
    ("held", "n_places", "asked", "n_walks"),
    [
        (10, 20, [2], 2),
        (10, 25, [2, 3], 3),
        (10, 45, [MOST_OUTINGS, 4, 5], 5),
        (10, 10 * MOST_OUTINGS + 1, [MOST_OUTINGS], MOST_OUTINGS),
        (10, 10 * MOST_OUTINGS, [MOST_OUTINGS, MOST_OUTINGS - 1], MOST_OUTINGS),
    ],
)
def test_searches_for_walks_are_few(held: int, n_places: int, asked: list[int], n_walks: int) -> None:
    """Walks that hold ten places each: the fewest that hold all are found, and too many places cost one search."""
    searched: list[int] = []

    def glance(most: int) -> list[list[int]]:
        walks = (list(range(first, min(first + held, n_places))) for first in range(0, most * held, held))
        return [walk for walk in walks if walk]

    def search(most: int) -> list[list[int]]:
        searched.append(most)
        return glance(most)

    assert len(in_few_walks(search, n_places, least=2, at_a_glance=glance)) == n_walks
    assert searched == asked
