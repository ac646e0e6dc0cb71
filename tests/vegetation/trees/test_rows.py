"""Orchards and vineyards are told by their rows; trees at random are neither."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.lattice.grid import Grid
from pipeline.settings import VegetationSettings
from pipeline.terrain.surface import canopy_height
from pipeline.vegetation.areas.owners import owners
from pipeline.vegetation.draft import draft_vegetation
from pipeline.vegetation.trees.rows import Rows, measure_rows, row_symbol, rows_of
from tests.pulse_scene import Forest, crown_field, profile_of, shoot

GRID = Grid("EPSG:25832", 0, 200, 0.5, 200, 200)
EAST, NORTH = np.meshgrid(*GRID.centres())
SETTINGS = VegetationSettings()
AREA = shapely.Polygon([(10, 15), (85, 10), (90, 85), (20, 90)])


def rows_in(canopy: np.ndarray, area: shapely.Polygon = AREA) -> Rows | None:
    """The rows of one area."""
    areas = np.array([area])
    owner = owners(areas, areas, np.zeros(1, np.int64), GRID, GRID.bounds)
    (rows,) = rows_of(measure_rows(areas, owner, canopy, GRID))
    return rows


def trees(places: np.ndarray, *, radius_m: float, height_m: float) -> np.ndarray:
    """Canopy of round crowns."""
    canopy = np.zeros(GRID.shape, np.float32)
    for east, north in places:
        canopy[np.hypot(EAST - east, NORTH - north) <= radius_m] = height_m
    return canopy


def lattice(spacing_m: float, angle_deg: float, jitter_m: float) -> np.ndarray:
    """Places on a square lattice, turned and jittered."""
    rng = np.random.default_rng(1)
    at = np.arange(-100, 100, spacing_m)
    east, north = (grid.ravel() for grid in np.meshgrid(at, at))
    turn = np.radians(angle_deg)
    place = np.column_stack((east * np.cos(turn) - north * np.sin(turn), east * np.sin(turn) + north * np.cos(turn)))
    return place + 50 + rng.normal(0, jitter_m, place.shape)


@pytest.mark.parametrize("angle_deg", [0, 25])
def test_an_orchard_is_regular_in_two_directions(angle_deg: float):
    """Trees 6 m apart both ways, half a metre off their places."""
    rows = rows_in(trees(lattice(6.0, angle_deg, 0.5), radius_m=1.8, height_m=4.0))
    assert rows is not None
    assert row_symbol(rows) == "413"
    assert rows.spacing_m == pytest.approx(6.0, abs=0.5)
    assert rows.height_m == pytest.approx(4.0, abs=0.2)


@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 90.0, 140.0])
def test_a_vineyard_has_rows_in_one_direction(angle_deg: float):
    """Rows 2.5 m apart; their direction is clockwise from north."""
    heading = np.radians(angle_deg)
    across = EAST * np.cos(heading) - NORTH * np.sin(heading)
    canopy = np.where(np.mod(across, 2.5) < 0.8, 1.8, 0.0).astype(np.float32)
    rows = rows_in(canopy)
    assert rows is not None
    assert row_symbol(rows) == "414"
    assert rows.spacing_m == pytest.approx(2.5, abs=0.2)
    assert abs((rows.angle_deg - angle_deg + 90) % 180 - 90) < 4


@pytest.mark.parametrize("seed", range(6))
def test_trees_at_random_stand_in_no_rows(seed: int):
    """Chance puts no large share into one wave, few trees or many."""
    rng = np.random.default_rng(seed)
    canopy = trees(rng.uniform(0, 100, (60 + 60 * seed, 2)), radius_m=2.0, height_m=5.0)
    assert rows_in(canopy) is None


def test_bare_and_even_ground_has_none():
    """Nothing, and everything alike."""
    assert rows_in(np.zeros(GRID.shape, np.float32)) is None
    assert rows_in(np.full(GRID.shape, 3.0, np.float32)) is None


def test_an_area_outside_has_none():
    """No cells, no rows."""
    far = shapely.box(900, 900, 950, 950)
    assert rows_in(np.zeros(GRID.shape, np.float32), far) is None


def test_an_orchard_is_drawn_as_one():
    """From pulses to symbol: fruit trees 8 m apart in grass, their crowns well apart."""
    grid = Grid("EPSG:25832", 0, 100, 1.0, 100, 100)
    at = np.arange(4.0, 100, 8.0)
    east, north = np.meshgrid(at, at)
    crown = crown_field(grid, np.column_stack((east.ravel(), north.ravel())), radius_m=2.2)
    forest = shoot(grid, np.zeros(grid.shape, np.float32), crown, pulses_per_m2=8.0, seed=4)
    is_tree = forest.height_m > 2.5
    low = Forest(forest.cloud, forest.asprs_class, np.where(is_tree, 3 + forest.height_m / 10, forest.height_m))
    canopy = canopy_height(low.cloud, low.asprs_class, low.height_m, grid)
    flat = np.zeros(grid.shape, np.float32)
    draft = draft_vegetation(profile_of(low, grid, SETTINGS), flat, canopy, grid, settings=SETTINGS)
    orchard = draft.features[draft.features["symbol"] == "413"]
    assert orchard.area.sum() > 0.8 * 100**2
    assert "in rows" in orchard["evidence"].iloc[0]
