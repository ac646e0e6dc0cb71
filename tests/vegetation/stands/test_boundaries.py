"""A distinct boundary (416) runs where two stands of different height meet, and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.lattice.grid import Grid
from pipeline.vegetation.stands.boundaries import StandEdge, height_step, stand_edges
from pipeline.vegetation.stands.stand_height import stand_height

GRID = Grid("EPSG:25832", 0, 160, 1.0, 160, 160)
EAST, NORTH = np.meshgrid(*GRID.centres())
INSIDE = (EAST > 20) & (EAST < 140) & (NORTH > 20) & (NORTH < 140)


def edges_of(canopy: np.ndarray, *, least_step_m: float = 7.0) -> list[StandEdge]:
    """Boundaries of a canopy between stands that differ by 7 m or more."""
    height = stand_height(canopy.astype(np.float32), cell_m=1.0)
    step = height_step(height, cell_m=1.0)
    edges = stand_edges(step, height, INSIDE, GRID, least_step_m=least_step_m)
    return sorted(edges, key=lambda edge: -edge.line.length)


def crowns(height_m: np.ndarray | float, seed: int = 4) -> np.ndarray:
    """Forest with a tenth of its cells open down to the ground."""
    gaps = np.random.default_rng(seed).random(GRID.shape) < 0.1
    return np.where(gaps, 0.0, np.broadcast_to(height_m, GRID.shape))


@pytest.mark.parametrize("turn_deg", [0, 30, 45, 90])
def test_the_boundary_runs_where_the_stands_meet(turn_deg: float) -> None:
    """One line within two metres of the true one, with the difference of heights, in any direction."""
    angle = np.radians(turn_deg)
    across = (EAST - 80) * np.cos(angle) + (NORTH - 80) * np.sin(angle)
    edges = edges_of(crowns(np.where(across > 0, 24.0, 10.0)))
    assert edges
    line = edges[0].line
    true = shapely.LineString(
        [(80 - 99 * np.sin(angle), 80 + 99 * np.cos(angle)), (80 + 99 * np.sin(angle), 80 - 99 * np.cos(angle))]
    )
    middle = shapely.intersection(line, shapely.box(40, 40, 120, 120))
    assert middle.length > 60
    assert max(true.distance(shapely.Point(place)) for place in middle.segmentize(2).coords) < 2
    assert edges[0].step_m.mean() == pytest.approx(14, abs=3)


@pytest.mark.parametrize("height_m", [0.0, 15.0])
def test_an_even_stand_has_no_boundary(height_m: float) -> None:
    """The negative control: gaps between crowns are no steps."""
    assert edges_of(crowns(height_m)) == []


def test_a_small_step_is_no_distinct_boundary() -> None:
    """Three metres between stands of fifteen and eighteen."""
    assert edges_of(crowns(np.where(EAST > 80, 18.0, 15.0))) == []


def test_a_gentle_rise_is_no_boundary() -> None:
    """Trees that grow taller down a slope over a hundred metres."""
    assert edges_of(crowns(10 + 14 * np.clip((EAST - 30) / 100, 0, 1))) == []


@pytest.mark.parametrize("places", [[(80, 80)], [(60, 80), (72, 82), (84, 80), (96, 81)]], ids=["one", "a row"])
def test_a_few_tall_crowns_in_a_stand_have_no_boundary_around_them(places: list[tuple[int, int]]) -> None:
    """Crowns 14 m wide and 30 m high in a stand of 12 m: the stand is the same on both sides of them."""
    tall = np.min([np.hypot(EAST - east, NORTH - north) for east, north in places], axis=0) < 7
    assert edges_of(crowns(np.where(tall, 30.0, 12.0))) == []


def test_a_strip_as_wide_as_three_crowns_still_has_its_boundaries() -> None:
    """A strip of old trees 26 m wide through a young stand has one on either side."""
    edges = edges_of(crowns(np.where(np.abs(EAST - 80) < 13, 26.0, 8.0)))
    assert len([edge for edge in edges if edge.line.length > 60]) == 2
