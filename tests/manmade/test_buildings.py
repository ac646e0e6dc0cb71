"""Buildings: right-angled outlines from counts of roof returns."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import Polygon, box

from pipeline.features import no_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.manmade.buildings import _best_rectangle, building_outlines
from pipeline.manmade.draft import COUNTS, draft_manmade
from pipeline.settings import ManmadeSettings

GRID = Grid("EPSG:25832", 1000, 4000, 0.5, 160, 160)
DRY = no_features(GRID.crs)
WEST, SOUTH = GRID.bounds[:2]
L_SHAPE = Polygon([(0, 0), (16, 0), (16, 8), (8, 8), (8, 14), (0, 14)])


def surveyed(
    shapes: list[Polygon], *, seed: int = 1, per_m2: float = 6.0, recall: float = 0.85
) -> tuple[Heights, Heights]:
    """Counts of roof returns and last returns where pulses fall at random and some roof returns are missed."""
    rng = np.random.default_rng(seed)
    n = int(per_m2 * 80 * 80)
    east, north = WEST + rng.uniform(0, 80, n), SOUTH + rng.uniform(0, 80, n)
    on_roof = np.zeros(n, bool)
    for shape in shapes:
        on_roof |= shapely.contains_xy(shape, east, north)
    on_roof &= rng.random(n) < recall
    cell = GRID.cell_index(east, north)
    size = GRID.rows * GRID.cols
    roof, last = (np.bincount(c, minlength=size).reshape(GRID.shape).astype(np.float32) for c in (cell[on_roof], cell))
    return roof, last


def counts_of(roof: Heights, last: Heights) -> dict[str, Heights]:
    """Counts in which nothing but roofs was seen."""
    nothing = np.zeros_like(last)
    return dict.fromkeys(COUNTS, nothing) | {"building_returns": roof, "last_returns": last}


def drafted(roof: Heights, last: Heights) -> list[Polygon]:
    """Outlines of the draft."""
    level = np.zeros(GRID.shape, np.float32)
    found = draft_manmade(
        counts_of(roof, last), level, level, GRID, settings=ManmadeSettings(), water=no_features("EPSG:25832")
    )
    assert set(found.symbol) <= {"521"}
    return list(found.geometry)


def placed(shape: Polygon, turn_deg: float) -> Polygon:
    """The shape turned about its middle, in the middle of the grid."""
    middle = shape.centroid
    moved = affinity.translate(shape, WEST + 40 - middle.x, SOUTH + 40 - middle.y)
    return affinity.rotate(moved, turn_deg)


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, 45.0, 71.0])
@pytest.mark.parametrize("shape", [box(0, 0, 14, 8), box(0, 0, 9, 7), L_SHAPE], ids=["house", "shed", "L"])
def test_outline_shares_nine_tenths_of_its_area_with_the_true_plan(shape: Polygon, turn_deg: float) -> None:
    """Whatever way a house faces, its outline has right angles and few corners and lies on the true one."""
    true = placed(shape, turn_deg)
    (found,) = drafted(*surveyed([true]))
    f1 = 2 * found.intersection(true).area / (found.area + true.area)
    assert f1 > 0.9
    corners = np.array(found.exterior.coords)
    edges = np.diff(corners, axis=0)
    edges /= np.linalg.norm(edges, axis=1)[:, None]
    turns = np.abs((edges * np.roll(edges, 1, axis=0)).sum(axis=1))
    assert np.all((turns < 1e-6) | (turns > 1 - 1e-6))
    assert len(corners) <= 9


def test_two_houses_across_a_lane_stay_two() -> None:
    """A lane between houses is not built over."""
    first, second = (
        box(WEST + 20, SOUTH + 30, WEST + 32, SOUTH + 40),
        box(WEST + 34.5, SOUTH + 30, WEST + 46, SOUTH + 40),
    )
    found = drafted(*surveyed([first, second]))
    assert len(found) == 2
    assert not found[0].intersects(found[1])


def test_a_courtyard_stays_open() -> None:
    """A building around a yard is drawn with the yard left out."""
    ring = box(0, 0, 40, 36).difference(box(12, 12, 28, 24))
    plan = placed(ring, 20.0)
    (found,) = drafted(*surveyed([plan]))
    assert len(found.interiors) == 1
    assert found.intersection(plan).area / found.union(plan).area >= 0.9


@pytest.mark.parametrize("per_m2", [0.25, 0.5])
def test_a_house_of_a_thin_survey_is_one_building(per_m2: float) -> None:
    """Where a third of the cells hold no return, two houses are two plans and not their many pieces."""
    rng = np.random.default_rng(3)
    thin = Grid(GRID.crs, GRID.west_col // 4, GRID.north_row // 4, 2.0, 80, 80)
    west, south = thin.bounds[:2]
    houses = [affinity.translate(box(0, 0, 24, 14), west + dx, south + dy) for dx, dy in ((30, 40), (90, 110))]
    n = int(per_m2 * 160**2)
    east, north = west + rng.uniform(0, 160, n), south + rng.uniform(0, 160, n)
    on_roof = np.any([shapely.contains_xy(house, east, north) for house in houses], axis=0)
    cell = thin.cell_index(east, north)
    roof, last = (
        np.bincount(c, minlength=80 * 80).reshape(thin.shape).astype(np.float32) for c in (cell[on_roof], cell)
    )
    found = building_outlines(roof, last, thin, min_area_m2=16.0)
    assert len(found) == 2
    for house in houses:
        best = max(one.shape.intersection(house).area / one.shape.union(house).area for one in found)
        assert best >= 0.6


def test_no_building_where_no_roof_is_seen() -> None:
    """An area without roof returns, and one that was not surveyed at all, give nothing."""
    assert drafted(*surveyed([])) == []
    empty = np.zeros(GRID.shape, np.float32)
    assert drafted(empty, empty) == []


def test_stray_roof_returns_and_walls_are_no_buildings() -> None:
    """One return in ten misjudged as roof, or a stone wall a metre thick, gives no building."""
    _, last = surveyed([])
    strays = np.random.default_rng(2).binomial(last.astype(int), 0.1).astype(np.float32)
    assert drafted(strays, last) == []
    assert drafted(*surveyed([box(WEST + 10, SOUTH + 40, WEST + 70, SOUTH + 41)])) == []


def test_draft_does_not_depend_on_where_the_grid_ends() -> None:
    """The same returns on a grid with 30 m more around it give the same outlines."""
    roof, last = surveyed([placed(L_SHAPE, 17.0)])
    wide = GRID.pad(30.0)
    wide_counts = []
    for counts in (roof, last):
        padded = np.zeros(wide.shape, np.float32)
        padded[wide.window_of(GRID)] = counts
        wide_counts.append(padded)
    level = np.zeros(wide.shape, np.float32)
    found = draft_manmade(
        counts_of(*wide_counts), level, level, wide, settings=ManmadeSettings(), water=no_features("EPSG:25832")
    )
    (narrow,) = drafted(roof, last)
    assert found.geometry[0].symmetric_difference(narrow).area < 1e-6


@given(seed=st.integers(0, 10_000), rows=st.integers(1, 6), cols=st.integers(1, 6))
@settings(max_examples=40, deadline=None)
def test_best_rectangle_agrees_with_trying_all_of_them(seed: int, rows: int, cols: int) -> None:
    """The scan finds the greatest sum that brute force finds."""
    score = np.random.default_rng(seed).normal(size=(rows, cols)).astype(np.float32)
    gain, (west, south, east, north) = _best_rectangle(score)
    sums = [
        score[a:b, c:d].sum()
        for a in range(rows)
        for b in range(a + 1, rows + 1)
        for c in range(cols)
        for d in range(c + 1, cols + 1)
    ]
    assert gain == pytest.approx(max(sums), abs=1e-4)
    assert score[south:north, west:east].sum() == pytest.approx(gain, abs=1e-4)


def test_a_hall_of_two_hundred_metres_keeps_its_plan() -> None:
    """A building too large for the fine scan is outlined on coarser cells."""
    wide = Grid("EPSG:25832", 1000, 4000, 0.5, 500, 500)
    east, north = np.meshgrid(*wide.centres())
    hall = affinity.rotate(box(wide.west_m + 25, wide.bounds[1] + 75, wide.west_m + 225, wide.bounds[1] + 165), 8.0)
    roof = shapely.contains_xy(hall, east, north).astype(np.float32)
    last = np.ones(wide.shape, np.float32)
    found = draft_manmade(
        counts_of(roof, last), last, 0 * last, wide, settings=ManmadeSettings(), water=no_features("EPSG:25832")
    )
    assert len(found) == 1
    assert found.geometry[0].intersection(hall).area / found.geometry[0].union(hall).area > 0.95
