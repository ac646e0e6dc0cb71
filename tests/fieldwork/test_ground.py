"""Walking: minutes by slope, growth and ways, and what is not crossed."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from scipy import sparse
from scipy.sparse import csgraph
from shapely.geometry import LineString, Polygon, box

from pipeline.fieldwork.walking.ground import NEAREST, Ground, minutes_per_m, net_of
from pipeline.fieldwork.walking.quickest import Search
from tests.fieldwork.places import EAST, NORTH, flat_net, grid


def minutes(net, start: tuple[float, float], end: tuple[float, float]) -> float:
    """Minutes between two places, metres from the corner."""
    squares = net.squares_at(np.add([start, end], (EAST, NORTH)))[0]
    return float(net.minutes(squares[:1], squares[1:])[0, 0])


def crossing(net, start: tuple[float, float], end: tuple[float, float]) -> LineString:
    """The way between two places."""
    squares = net.squares_at(np.add([start, end], (EAST, NORTH)))[0]
    return LineString(net.way(int(squares[0]), int(squares[1])))


@pytest.mark.parametrize(("rise", "km_per_h"), [(-0.05, 6.0), (0.0, 5.036), (0.2, 2.501), (-0.2, 3.550)])
def test_walking_on_paths_is_as_tobler_published(rise: float, km_per_h: float) -> None:
    """6 exp(-3.5 |x + 0.05|) km/h (Tobler 1993), worked out by hand; off paths six tenths."""
    on, off = (
        float(minutes_per_m(np.array([rise]), on_way=np.array([way]), share=np.ones(1, np.float32))[0])
        for way in (True, False)
    )
    assert 0.06 / on == pytest.approx(km_per_h, abs=0.002)
    assert on / off == pytest.approx(0.6)


def test_growth_slows_and_steep_ground_is_not_walked() -> None:
    """Fight takes longer than walk, walk longer than open forest; nobody walks up a wall."""
    share = np.array([1.0, 0.6, 0.4, 0.1, 0.0], np.float32)
    told = minutes_per_m(np.zeros(5), on_way=np.zeros(5, bool), share=share)
    assert np.all(np.diff(told) > 0)
    assert np.isinf(minutes_per_m(np.array([1.2]), on_way=np.array([True]), share=share[:1])).all()


def test_a_straight_walk_on_flat_ground_takes_its_length() -> None:
    """150 m off paths at 0.6 x 5.036 km/h."""
    assert minutes(flat_net(), (22.5, 22.5), (172.5, 22.5)) == pytest.approx(150 / (0.6 * 5036.7 / 60), rel=1e-4)


def test_a_way_is_quicker_than_the_forest_beside_it() -> None:
    """The same 150 m along a road."""
    road = [(35, col) for col in range(40)]
    with_road = minutes(flat_net(ways=road), (22.5, 22.5), (172.5, 22.5))
    assert with_road == pytest.approx(0.6 * minutes(flat_net(), (22.5, 22.5), (172.5, 22.5)))


def test_up_takes_longer_than_down() -> None:
    """On a slope of one in five the two ways differ as Tobler says."""
    rows, cols = 20, 20
    height = np.tile(np.arange(cols, dtype=np.float32), (rows, 1))
    ground = Ground(height, np.ones((rows, cols), np.float32), np.zeros((rows, cols), bool), grid(rows, cols))
    net = net_of(ground, ())
    up, down = minutes(net, (12.5, 52.5), (82.5, 52.5)), minutes(net, (82.5, 52.5), (12.5, 52.5))
    assert up / down == pytest.approx(np.exp(3.5 * 0.1), rel=1e-3)


def test_nothing_leads_over_a_cliff_or_through_a_house() -> None:
    """The way goes round the end of the cliff and round the house, and is longer."""
    cliff = LineString([(EAST + 100, NORTH - 5), (EAST + 100, NORTH + 150)])
    house = box(EAST + 60, NORTH + 10, EAST + 80, NORTH + 30)
    net = flat_net(barriers=[cliff, house])
    way = crossing(net, (22.5, 22.5), (172.5, 22.5))
    assert not way.intersects(cliff)
    assert not way.intersects(house)
    assert way.length > 280


def test_water_is_crossed_on_a_road_only() -> None:
    """A river over the whole area: with a road across it is crossed there, without one no way leads over."""
    river = Polygon(
        [(EAST + 90, NORTH - 5), (EAST + 110, NORTH - 5), (EAST + 110, NORTH + 205), (EAST + 90, NORTH + 205)]
    )
    road = [(10, col) for col in range(40)]
    assert flat_net(water=[river]).main_part.sum() < 40 * 40 / 2
    bridge = crossing(flat_net(water=[river], ways=road), (22.5, 22.5), (172.5, 22.5))
    over = bridge.intersection(river)
    assert over.length == pytest.approx(20, abs=0.1)
    assert over.bounds[1] == pytest.approx(NORTH + 147.5)


@pytest.mark.parametrize("seed", range(4))
def test_ways_take_what_a_search_with_a_sorted_queue_finds(seed: int) -> None:
    """Nets with one-way steps of very different length, and squares that nothing leads to: SciPy, to the last bit."""
    rng = np.random.default_rng(seed)
    n = 60
    minutes = rng.uniform(0.05, 5, (n, n)) * (rng.random((n, n)) < 0.06)
    minutes[:, :3] = 0
    search = Search(sparse.csr_matrix(minutes))
    known = csgraph.dijkstra(search.steps)
    for start in range(n):
        search.run(start, np.ones(n, bool))
        assert np.array_equal(search.reached, known[start])
        way = search.way(start, n - 1)
        if np.isfinite(known[start, -1]):
            assert sum(minutes[here, there] for here, there in itertools.pairwise(way)) == pytest.approx(
                known[start, -1]
            )
        else:
            assert way == [start, n - 1]


@pytest.mark.parametrize("seed", range(3))
def test_steps_are_missing_where_a_shape_is_crossed_and_nowhere_else(seed: int) -> None:
    """Lines and areas strewn over the ground, some along edges of squares: each step is looked at by itself."""
    rng = np.random.default_rng(seed)
    corners = rng.integers(0, 48, (12, 2)) * 2.5 + (EAST, NORTH)
    shapes = [LineString([one, one + rng.integers(-8, 9, 2) * 2.5 + 0.1]) for one in corners[:8]]
    shapes += [box(*one, *(one + rng.integers(2, 9, 2) * 2.5)) for one in corners[8:]]
    net = flat_net(24, 24, barriers=shapes)
    side_m, centres = net.ground.side_m, net.ground.centres
    start, end = np.triu_indices(len(centres), 1)
    near = np.abs(centres[start] - centres[end]).max(axis=1) < 1.5 * side_m
    start, end = start[near], end[near]
    crossed = shapely.intersects(
        shapely.linestrings(np.stack([centres[start], centres[end]], axis=1)), shapely.union_all(shapes)
    )
    assert crossed.any()
    assert np.array_equal(np.asarray(net.steps[start, end]).ravel() == 0, crossed)


def test_rounds_are_told_by_the_quickest_ways_to_near_stops() -> None:
    """Far more stops than each is searched to: exact from and to the start and to the nearest, never too short."""
    rng = np.random.default_rng(0)
    net = flat_net(barriers=[LineString([(EAST + 100, NORTH - 5), (EAST + 100, NORTH + 150)])])
    stops = rng.choice(np.flatnonzero(net.main_part), 2 * NEAREST, replace=False)
    squares = np.concatenate([[0], stops])
    told, known = net.minutes_of_rounds(0, stops), net.minutes(squares, squares)
    assert told[0] == pytest.approx(known[0])
    assert told[:, 0] == pytest.approx(known[:, 0])
    assert (told >= known - 1e-9).all()
    nearest = np.argsort(known, axis=1)[:, :NEAREST]
    assert np.take_along_axis(told, nearest, 1) == pytest.approx(np.take_along_axis(known, nearest, 1))
    assert told == pytest.approx(known, rel=0.3)
    assert (told > known + 1e-9).any()


def test_clusters_of_stops_far_from_each_other_are_told_all_the_same() -> None:
    """More stops in each cluster than a search comes to: ways between the clusters are found, some round a corner."""
    stops = np.concatenate([np.arange(NEAREST + 5), 1599 - np.arange(NEAREST + 5)])
    net = flat_net()
    told = net.minutes_of_rounds(20, stops)
    known = net.minutes(np.r_[20, stops], np.r_[20, stops])
    assert (told >= known - 1e-9).all()
    assert (told <= 2 * known + 1e-9).all()


def test_unknown_ground_is_not_walked() -> None:
    """Outside the survey there is no height and no way."""
    even = np.zeros((10, 10), np.float32)
    even[:, 5] = np.nan
    net = net_of(Ground(even, even + 1, np.zeros((10, 10), bool), grid(10, 10)), ())
    assert net.main_part.sum() == 50
