"""Wires, walls, hedges and fences drawn from analytic shapes, and what is none of them."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from pipeline.lattice.grid import Grid, Heights
from pipeline.manmade.lines.company import company
from pipeline.manmade.lines.joining import joined_over_gaps
from pipeline.manmade.lines.obstacles import OBSTACLE_COUNTS, draw_obstacles
from pipeline.manmade.lines.steps import find_steps
from pipeline.manmade.lines.walls import draw_walls
from pipeline.manmade.lines.wire_lines import draw_wires

CRS = "EPSG:25832"
GRID = Grid(CRS, 0, 400, 0.5, 400, 400)
EAST, NORTH = np.meshgrid(*GRID.centres())
Numbers = NDArray[np.float64]


def wire_counts(aside_m: tuple[float, ...], up_m: float, gap: tuple[float, float] = (0, 0)) -> dict[str, Heights]:
    """Counts of straight wires at 20 degrees through the middle, which hang highest in the middle of their length."""
    along = np.arange(-90, 90, 0.4)
    along = along[(along < gap[0]) | (along >= gap[1])]
    counts = {name: np.zeros(GRID.shape, np.float32) for name in ("wire_returns", "wire_height_sum_dm")}
    c, s = np.cos(np.radians(20)), np.sin(np.radians(20))
    for aside in aside_m:
        cell = GRID.cell_index(100 + along * c - aside * s, 100 + along * s + aside * c)
        sag = up_m - 6 * (np.abs(along) / 90) * (2 - np.abs(along) / 90)
        np.add.at(counts["wire_returns"].ravel(), cell, 1)
        np.add.at(counts["wire_height_sum_dm"].ravel(), cell, np.round(10 * sag).astype(np.float32))
    return counts


@pytest.mark.parametrize(("aside", "up_m", "symbol"), [((-1.0, 0.0, 1.0), 10.0, "510"), ((-5.0, 5.0), 15.0, "511")])
def test_a_corridor_is_one_straight_line_along_its_middle_with_its_pylon(
    aside: tuple[float, ...], up_m: float, symbol: str
) -> None:
    """Wires with a gap of 40 m; the place where they hang highest is a vertex."""
    found = draw_wires(wire_counts(aside, up_m, gap=(35, 65)), GRID)
    assert list(found.symbol) == [symbol]
    (line,) = found.geometry
    true = LineString([(100 - 90 * 0.9397, 100 - 90 * 0.342), (100 + 90 * 0.9397, 100 + 90 * 0.342)])
    assert line.hausdorff_distance(true) < 6
    assert shapely.distance(shapely.points(line.coords), true).max() < 1.5
    assert len(line.coords) == 3
    assert line.distance(shapely.Point(100, 100)) < 1.5
    assert min(shapely.Point(place).distance(shapely.Point(100, 100)) for place in line.coords) < 10


def test_no_wires_draw_nothing() -> None:
    """A survey without wires."""
    assert draw_wires({name: np.zeros(GRID.shape, np.float32) for name in wire_counts((), 0.0)}, GRID).empty


def terraces(n: int, *, step_m: float = 1.0, width_m: float = 0.5) -> Heights:
    """A slope of 10 % that falls to the south, with so many steps 12 m apart, from 30 to 150 m east."""
    height = 0.1 * NORTH
    for k in range(n):
        over = np.clip((NORTH - 40 - 12 * k) / width_m, 0, 1)
        height = height + step_m * np.where((EAST > 30) & (EAST < 150), over, over)
    return np.asarray(height, np.float32)


def test_terraces_in_a_row_are_walls() -> None:
    """Six steps of 1 m, each drawn within a metre of its place."""
    found = draw_walls(terraces(6), GRID)
    assert set(found.symbol) == {"513"}
    at = np.array([line.centroid.y for line in found.geometry])
    for k in range(6):
        assert np.abs(at - (40.25 + 12 * k)).min() < 1.0
    assert found.height_m.between(0.6, 1.4).all()


@pytest.mark.parametrize("heights", [0.1 * NORTH, 1.2 * NORTH, terraces(1), terraces(6, width_m=6.0)])
def test_slopes_one_step_and_wide_banks_are_no_terraces(heights: Heights) -> None:
    """A gentle slope, a steep one, the single step of a bank or cliff, and banks of 10 degrees 6 m wide."""
    assert draw_walls(np.asarray(heights, np.float32), GRID).empty


def test_an_even_slope_in_any_direction_has_no_step() -> None:
    """The offsets of cells lie off the places meant, which must not make a step of a slope."""
    for turn in np.radians(np.arange(0, 180, 15)):
        plane = (EAST * np.cos(turn) + NORTH * np.sin(turn)).astype(np.float32)
        step, _ = find_steps(plane, cell_m=0.5)
        assert step[20:-20, 20:-20].max() < 0.01


def test_cells_of_a_metre_tell_no_walls() -> None:
    """Roads in a slope look the same there."""
    coarse = Grid(CRS, 0, 200, 1.0, 200, 200)
    assert draw_walls(terraces(6)[::2, ::2], coarse).empty


def stand(height_m: float, width_m: float, *, share: float = 1.0, seed: int = 1) -> Heights:
    """Height of returns over open ground: a line at 30 degrees with so large a share of its cells met."""
    rng = np.random.default_rng(seed)
    off = (NORTH - 100) * np.cos(np.radians(30)) - (EAST - 100) * np.sin(np.radians(30))
    on = (np.abs(off) <= width_m / 2) & (rng.random(GRID.shape) < share)
    return np.where(on, height_m * rng.uniform(0.8, 1.1, GRID.shape), 0.05 * rng.random(GRID.shape)).astype(np.float32)


def obstacle_counts(tops: Heights, ground_under: float) -> dict[str, Heights]:
    """Two returns in each cell; so large a share of those under what stands reaches the ground."""
    ground = np.where(tops > 0.3, 2 * ground_under, 2.0).astype(np.float32)
    return {"all_returns": np.full(GRID.shape, 2, np.float32), "ground_returns": ground}


@pytest.mark.parametrize(
    ("height_m", "width_m", "share", "ground_under", "symbol"),
    [
        (2.0, 2.0, 0.8, 0.3, "416"),
        (1.1, 0.7, 1.0, 0.1, "513"),
        (0.7, 0.7, 1.0, 0.1, "514"),
        (1.6, 0.7, 1.0, 0.1, "515"),
        (1.2, 0.7, 0.7, 0.9, "516"),
    ],
)
def test_hedges_walls_and_fences_are_told(
    height_m: float, width_m: float, share: float, ground_under: float, symbol: str
) -> None:
    """By width, by how many returns reach the ground, and walls by the heights that the norm has for them."""
    tops = stand(height_m, width_m, share=share)
    found = draw_obstacles(tops, np.zeros(GRID.shape, np.float32), obstacle_counts(tops, ground_under), GRID)
    assert list(found.symbol) == [symbol]
    (shape,) = found.geometry
    assert shape.length > 150
    true = LineString([(0, 100 - 57.7), (200, 100 + 57.7)])
    assert true.buffer(3).contains(shape)


def test_a_whole_solid_line_is_surer_than_one_with_gaps() -> None:
    """Of one hedge, more of whose places are empty each time."""
    sure = []
    for share in (1.0, 0.45, 0.3):
        tops = stand(2.0, 2.0, share=share)
        found = draw_obstacles(tops, np.zeros(GRID.shape, np.float32), obstacle_counts(tops, 0.3), GRID)
        sure.append(float(found.confidence.max()) if len(found) else 0.0)
    assert sure == sorted(sure, reverse=True)
    assert sure[0] > 0.8
    assert sure[-1] < 0.5


def test_a_fence_is_never_sure() -> None:
    """Nobody has mapped fences to measure with."""
    tops = stand(1.2, 0.7, share=1.0)
    (sure,) = draw_obstacles(tops, np.zeros(GRID.shape, np.float32), obstacle_counts(tops, 0.9), GRID).confidence
    assert 0.1 < sure < 0.5


def test_bushes_woods_and_rows_of_trees_are_no_hedge() -> None:
    """Strewn bushes, the edge of a wood, and trees 12 m high in a row."""
    rng = np.random.default_rng(3)
    bushes = np.zeros(GRID.shape, np.float32)
    for east, north in rng.uniform(0, 200, (150, 2)):
        bushes[np.hypot(EAST - east, NORTH - north) < 1.2] = 1.5
    wood = np.where(NORTH > 100, rng.uniform(0, 20, GRID.shape), 0).astype(np.float32)
    level = np.zeros(GRID.shape, np.float32)
    for tops in (bushes, wood, stand(12.0, 3.0)):
        assert draw_obstacles(tops, level, obstacle_counts(tops, 0.3), GRID).empty


def test_counts_of_obstacles_are_named() -> None:
    """The counts made here are those asked for."""
    assert set(obstacle_counts(stand(1.0, 1.0), 0.5)) == set(OBSTACLE_COUNTS)


def test_pieces_in_line_are_joined_and_others_are_not() -> None:
    """Over a gap of 10 m straight on; not aside, not at a right angle, not over 40 m."""
    first = LineString([(0, 0), (30, 0)])
    joined = joined_over_gaps([first, LineString([(70, 1), (40, 0)])], gap_m=15, turn_deg=20, look_m=5)
    assert len(joined) == 1
    assert joined[0].length == pytest.approx(70, abs=0.1)
    for other in ([(40, 12), (70, 12)], [(33, 5), (33, 35)], [(70, 0), (90, 0)]):
        assert len(joined_over_gaps([first, LineString(other)], gap_m=15, turn_deg=20, look_m=5)) == 2


def test_company_takes_two_neighbours() -> None:
    """Three lines 10 m apart have it, the two banks of a road have not."""
    rows = [LineString([(0, north), (60, north)]) for north in (0.0, 10.0, 20.0)]
    assert company(rows).min() == 1
    assert company(rows[:2]).max() == 0
    assert company([]).size == 0
