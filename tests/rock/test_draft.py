"""The rock layer as it is drawn: minima, groups and collisions of the standard."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.features import make_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.rock.boulders.groups import generalise_boulders
from pipeline.rock.draft import draft_rock
from pipeline.settings import RockSettings

SETTINGS = RockSettings()
GRID = Grid.covering((0, 0, 80, 80), cell_m=0.5, crs="EPSG:25833")


def boulders(
    places: list[tuple[float, float]],
    heights: list[float],
    widths: list[float] | float = 2.0,
    sure: list[float] | float = 0.8,
):
    """Candidates at places."""
    return make_features(
        [shapely.Point(place) for place in places],
        crs=GRID.crs,
        symbol="204",
        confidence=sure,
        evidence="made",
        height_m=heights,
        width_m=widths,
        elevation_m=100.0,
    )


def drawn(table: gpd.GeoDataFrame, ground: Heights | None = None) -> gpd.GeoDataFrame:
    """The draft on flat ground, or the ground given."""
    flat = np.full(GRID.shape, 100, np.float32) if ground is None else ground
    near = np.full(GRID.shape, 0.3, np.float32)
    return draft_rock(table, flat, near, np.zeros(GRID.shape, np.float32), GRID, settings=SETTINGS)


def test_height_decides_between_204_and_205_and_below_a_metre_nothing_is_drawn() -> None:
    """ISOM 2017-2: 204 from 1 m, 205 from 2 m."""
    out = drawn(boulders([(10, 10), (30, 30), (60, 60)], [0.8, 1.4, 2.3]))
    assert sorted(out.symbol) == ["204", "205"]


def test_a_gigantic_boulder_is_drawn_to_shape() -> None:
    """ISOM 2017-2, 206: at least 0.3 mm2 at 1:15000, 67 m2 on the ground."""
    out = drawn(boulders([(40, 40)], [5.0], [9.6]))
    assert out.symbol.tolist() == ["206"]
    assert out.geometry.iloc[0].area >= 67


def test_a_gigantic_boulder_lies_along_its_long_axis() -> None:
    """A boulder twice as long as wide is drawn so, its long axis turned clockwise from north, with the same area."""
    table = boulders([(40, 40)], [5.0], [10.0]).assign(angle_deg=90.0, length_m=10.0 * np.sqrt(2))
    out = drawn(table)
    west, south, east, north = out.geometry.iloc[0].bounds
    assert east - west == pytest.approx(14.1, abs=0.1)
    assert north - south == pytest.approx(7.1, abs=0.1)
    assert out.geometry.iloc[0].area == pytest.approx(np.pi * 25, rel=0.02)


def test_three_boulders_close_together_become_a_cluster() -> None:
    """Dots of 6 m would run into each other, so a triangle 207 stands for them."""
    out = drawn(boulders([(40, 40), (44, 40), (42, 44)], [1.2, 1.4, 1.3]))
    assert out.symbol.tolist() == ["207"]
    assert out.height_m.iloc[0] == pytest.approx(1.4)


@pytest.mark.parametrize(("height_m", "dot_m"), [(1.5, 6.0), (2.5, 9.0)])
def test_dots_that_run_into_each_other_are_a_cluster_and_others_get_their_gap(height_m: float, dot_m: float) -> None:
    """ISOM 2017-2: dots of 0.4 and 0.6 mm, a gap of 0.15 mm; at 1:15000 they cover 6, 9 and 2.25 m."""
    pair = [drawn(boulders([(30, 40), (30 + apart, 40)], [height_m] * 2)) for apart in (dot_m - 0.5, dot_m + 0.5)]
    assert pair[0].symbol.tolist() == ["207"]
    assert pair[0].geometry.iloc[0].x in {30.0, 30 + dot_m - 0.5}
    assert "207" not in set(pair[1].symbol)
    assert pair[1].geometry.iloc[0].distance(pair[1].geometry.iloc[1]) == pytest.approx(dot_m + 2.25)
    assert pair[1].geometry.x.mean() == pytest.approx(30 + (dot_m + 0.5) / 2)


def test_a_boulder_is_no_cluster_for_a_doubtful_neighbour() -> None:
    """Of two that would touch, the second seldom there, the sure one is drawn alone."""
    out = drawn(boulders([(40, 40), (44, 40)], [1.4, 1.5], sure=[0.9, 0.15]))
    assert out.symbol.tolist() == ["204"]
    assert out.geometry.iloc[0].x == 40


def test_a_wide_group_becomes_a_field() -> None:
    """A chain of boulders wider than one triangle is an area 208 or 209 that holds them all."""
    places = [(10.0 + 5 * i, 40.0 + (i % 2)) for i in range(8)]
    out = drawn(boulders(places, [1.5] * 8))
    assert out.symbol.tolist()[0] in {"208", "209"}
    assert all(out.geometry.iloc[0].contains(shapely.Point(place)) for place in places)


def test_of_two_that_touch_the_much_bigger_one_is_kept() -> None:
    """The biggest of a pair stays, as it is what a runner sees."""
    out = drawn(boulders([(40, 40), (44, 40)], [3.0, 1.2]))
    assert out.symbol.tolist() == ["205"]
    assert out.geometry.iloc[0].x == 40


def test_no_boulder_stands_on_a_cliff() -> None:
    """A boulder on the lip of a cliff is part of the cliff."""
    east, _ = np.meshgrid(*GRID.centres())
    ground = np.where(east < 40, 104, 100).astype(np.float32)
    out = drawn(boulders([(40.0, 40.0), (60.0, 40.0)], [1.5, 1.5]), ground)
    assert set(out.symbol) == {"201", "204"}
    assert out[out.symbol == "204"].geometry.iloc[0].x == 60.0


def test_flat_empty_ground_gives_an_empty_layer() -> None:
    """Nothing in, nothing out."""
    assert len(drawn(boulders([], []))) == 0


def test_unlikely_candidates_are_left_out() -> None:
    """What looks like a boulder one time in twenty is not drawn, in whatever company."""
    assert len(drawn(boulders([(40, 40)], [2.0], sure=0.05))) == 0


def test_a_short_step_on_a_boulder_is_its_side_and_no_cliff() -> None:
    """A rock that the ground filter kept is drawn as one boulder; the face of a long cliff stays."""
    east, north = np.meshgrid(*GRID.centres())
    rock = np.where(np.hypot(east - 40, north - 40) < 2.2, 2.5, 0)
    out = drawn(boulders([(40, 40)], [2.5], [4.4]), (100 + 0.4 * east + rock).astype(np.float32))
    assert out.symbol.tolist() == ["205"]
    step = np.where(east < 40, 104, 100).astype(np.float32)
    assert "201" in set(drawn(boulders([(40, 40)], [2.5], [4.4]), step).symbol)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 60), st.floats(0, 60), st.floats(1, 4)), max_size=12))
def test_points_drawn_never_touch(things: list[tuple[float, float, float]]) -> None:
    """Whatever the candidates, two dots drawn have the least gap between them, and all confidences hold."""
    out = generalise_boulders(
        boulders([(x, y) for x, y, _ in things], [h for _, _, h in things]),
        least_confidence=SETTINGS.least_boulder_confidence,
    )
    dots = out[out.symbol.isin(["204", "205"])]
    discs = shapely.buffer(
        dots.geometry.to_numpy(), dots.symbol.map({"204": 3.0, "205": 4.5}).to_numpy(float), quad_segs=64
    )
    for i, one in enumerate(discs):
        assert all(one.distance(other) > 0.5 for other in discs[i + 1 :])
    assert out.confidence.between(0, 1).all()
