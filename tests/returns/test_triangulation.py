"""The surface between returns."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator
from scipy.spatial import ConvexHull, cKDTree

from pipeline.returns.triangulation import (
    MOST_SEARCHED_M,
    Triangulated,
    cell_means,
    height_above,
    heights_at_nodes,
    nearest_places,
)
from tests.terrain_clouds import knoll, returns_from, slope_of


def test_cell_means_are_pandas_group_means() -> None:
    """Judge outside the project: pandas; to the millimetre, in which sums are taken, in any order of the returns."""
    ground = returns_from(knoll(3, 12, 30), 40)
    table = pd.DataFrame(ground, columns=["east", "north", "height"])
    expected = table.groupby([np.floor(ground[:, 1]), np.floor(ground[:, 0])]).mean().to_numpy()
    found = cell_means(ground, cell_m=1.0)
    order = np.lexsort((np.floor(found[:, 0]), np.floor(found[:, 1])))
    np.testing.assert_allclose(found[order], expected, atol=0.001)
    shuffled = cell_means(ground[np.random.default_rng(2).permutation(len(ground))], cell_m=1.0)
    np.testing.assert_array_equal(shuffled, found)
    assert cell_means(ground[:0], cell_m=1.0).shape == (0, 3)


def test_heights_are_scipy_s_linear_interpolation_and_beyond_it_the_nearest() -> None:
    """Judge outside the project: Qhull's triangles; where a place lies in none, the nearest node.

    Within a metre of the hull it may be either: long thin triangles along a rim are not used.
    """
    nodes = cell_means(returns_from(knoll(3, 12, 20), 40), cell_m=1.0)
    east, north = np.arange(-5, 45, 1.3), np.arange(45, -5, -1.3)
    places = np.meshgrid(east, north)
    linear = LinearNDInterpolator(nodes[:, :2], nodes[:, 2])(*places)
    nearest = NearestNDInterpolator(nodes[:, :2], nodes[:, 2])(*places)
    found = heights_at_nodes(nodes, east, north)
    is_within = (np.abs(np.stack(places) - 20) < 19).all(axis=0)
    assert np.isnan(linear).any()
    assert np.quantile(np.abs(found - linear)[is_within], 0.99) < 0.001
    either = np.fmin(np.abs(found - linear), np.abs(found - nearest))
    assert np.quantile(either[~is_within], 0.99) < 0.001
    assert np.isnan(heights_at_nodes(nodes[:0], east, north)).all()


def test_height_above_a_slope_is_what_was_added_to_it() -> None:
    """Returns lifted by known heights above a plane; without ground or without returns there is nothing to tell.

    A quarter of a metre around all of them the rim of the grid of half metres stands for the slope.
    """
    ground = returns_from(slope_of(0.3), 60, noise_m=0.0)
    inner = ground[(np.abs(ground[:, :2] - 30) < 25).all(axis=1)]
    lift_m = np.random.default_rng(3).uniform(0, 20, len(inner))
    nodes = cell_means(ground, cell_m=0.5)
    found = height_above(inner + lift_m[:, None] * [0, 0, 1], nodes, cell_m=0.5)
    is_within = (np.abs(inner[:, :2] - 30) < 24.75).all(axis=1)
    np.testing.assert_allclose(found[is_within], lift_m[is_within], atol=0.005)
    np.testing.assert_allclose(found, lift_m, atol=0.3 * 0.25 + 0.005)
    assert np.isnan(height_above(inner, nodes[:0], cell_m=0.5)).all()
    assert height_above(inner[:0], nodes, cell_m=0.5) == pytest.approx(np.empty(0))


def test_the_rim_does_not_depend_on_how_much_of_it_is_seen() -> None:
    """A survey with a bay in its rim: the ground in the bay is the same, however far the rim beyond it goes on."""
    ground = returns_from(slope_of(0.3), 200, noise_m=0.0)
    ground = ground[ground[:, 0] > 5 * np.sin(np.pi * ground[:, 1] / 200) ** 2]
    near = ground[np.abs(ground[:, 1] - 100) < 70]
    east, north = np.arange(0.25, 10, 0.5), np.arange(105.25, 95, -0.5)
    whole, part = (heights_at_nodes(cell_means(one, cell_m=1.0), east, north) for one in (ground, near))
    assert np.array_equal(whole, part)


def test_the_nearest_place_is_found_however_far() -> None:
    """Judge outside the project: SciPy's k-d tree; beyond what is sought in buckets, too."""
    random = np.random.default_rng(6)
    places, asked = random.uniform(0, 30, (40, 2)), random.uniform(-40, 70, (200, 2))
    distance_m, number = nearest_places(places, asked)
    judge_m, judge = cKDTree(places).query(asked)
    assert np.array_equal(distance_m, judge_m)
    assert np.array_equal(number, judge)
    assert (distance_m > MOST_SEARCHED_M).any()
    assert (distance_m < MOST_SEARCHED_M).any()


def test_nodes_that_change_give_the_triangles_made_anew() -> None:
    """Nodes inside and along the rim go and come, a few and nearly all of them."""
    random = np.random.default_rng(7)
    places = np.stack(np.meshgrid(np.arange(40.0), np.arange(30.0)), axis=-1).reshape(-1, 2)
    nodes = np.column_stack((places + random.uniform(0.01, 0.99, places.shape), random.uniform(0, 9, len(places))))
    east, north = np.arange(0, 41, 0.5), np.arange(0, 31, 0.5)
    held = random.uniform(size=len(nodes)) < 0.8
    surface = Triangulated(nodes[held])
    for share in (0.01, 0.05, 0.0, 0.9):
        now = held ^ (random.uniform(size=len(nodes)) < share)
        surface = surface.changed(nodes[held & ~now], nodes[now & ~held])
        held = now
        np.testing.assert_array_equal(surface.heights(east, north), heights_at_nodes(nodes[held], east, north))


def test_corners_of_the_outline_can_go() -> None:
    """Where a corner goes, the triangles are those of what is left; an attempt to take it out ends in an error."""
    random = np.random.default_rng(8)
    nodes = np.column_stack((random.uniform(0, 50, (400, 2)), random.uniform(0, 9, 400)))
    corners = ConvexHull(nodes[:, :2]).vertices
    left = np.delete(nodes, corners, axis=0)
    east = north = np.arange(0, 51, 0.5)
    surface = Triangulated(nodes).changed(nodes[corners], nodes[:0])
    np.testing.assert_array_equal(surface.heights(east, north), heights_at_nodes(left, east, north))
