"""Standing water: level places from which few pulses came back."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.geometry import Point, Polygon

from pipeline.lattice.grid import Grid, Heights
from pipeline.settings import WaterSettings
from pipeline.water import search
from pipeline.water.draft import draft_water
from pipeline.water.search import standing_water
from pipeline.water.sight.ground import Ground, Sight, in_memory
from pipeline.water.standing import Surface, bodies_of

GRID = Grid("EPSG:25832", 2000, 8000, 0.5, 240, 240)
EAST, NORTH = np.meshgrid(*GRID.centres())
WEST, SOUTH = GRID.bounds[:2]
MIDDLE = (WEST + 60, SOUTH + 60)
USUAL = WaterSettings()
FROM_MIDDLE = np.hypot(EAST - MIDDLE[0], NORTH - MIDDLE[1])


def basin(radius_m: float) -> Heights:
    """A slope of 5 % with a level pond and banks of 1 in 3 around it."""
    slope = 100 + 0.05 * (EAST - WEST)
    level = float(slope[120, 120]) - 1.0
    bank = level + np.maximum(FROM_MIDDLE - radius_m, 0) / 3
    heights = np.where(radius_m > FROM_MIDDLE, level, np.minimum(slope, np.maximum(bank, level)))
    noise = np.random.default_rng(1).normal(0, 0.02, GRID.shape)
    return (heights + noise).astype(np.float32)


def returns(*, per_m2: float = 6.0, silent: np.ndarray | None = None, remaining: float = 0.1, seed: int = 2) -> Heights:
    """Last returns a cell, fewer where it is silent."""
    mean = np.full(GRID.shape, per_m2 * GRID.cell_m**2)
    if silent is not None:
        mean = np.where(silent, mean * remaining, mean)
    return np.random.default_rng(seed).poisson(mean).astype(np.float32)


def bodies(heights: Heights, last: Heights, water: Heights | None = None) -> list[Polygon]:
    """Outlines of the standing water found."""
    return [body.shape for body in standing_water(ground(heights, last, water), thin_max_ratio=USUAL.thin_max_ratio)]


def ground(
    heights: Heights,
    last: Heights,
    water: Heights | None = None,
    grid: Grid = GRID,
    aimed: Heights | None = None,
) -> Ground:
    """The rasters of the water step, ground returns wherever there are last ones; no crowns unless `aimed` says."""
    water = np.zeros_like(last) if water is None else water
    support = np.where(last > 0, 0.3, 0.9).astype(np.float32)
    return Ground(grid, *map(in_memory, (heights, water, last, last if aimed is None else aimed, support)))


def overlap(found: Polygon, true: Polygon) -> float:
    """Common area over joint area."""
    return float(found.intersection(true).area / found.union(true).area)


@pytest.mark.parametrize("radius_m", [6.0, 12.0, 25.0])
def test_round_pond_is_found_with_its_shore(radius_m: float) -> None:
    """A pond from which one pulse in ten came back is found where it is."""
    (found,) = bodies(basin(radius_m), returns(silent=radius_m > FROM_MIDDLE))
    assert overlap(found, Point(MIDDLE).buffer(radius_m)) > 0.85


def test_the_shadow_of_a_stand_on_level_ground_is_no_water() -> None:
    """Where the pulses aimed at a level place ended in crowns beside it, returns are missing but there is no pond."""
    flat = np.full(GRID.shape, 50.0, np.float32) + np.random.default_rng(3).normal(0, 0.02, GRID.shape)
    shadow = (np.abs(EAST - MIDDLE[0]) < 6) & (np.abs(NORTH - MIDDLE[1]) < 25)
    heights, lying = flat.astype(np.float32), returns(silent=shadow, remaining=0.03)
    assert len(bodies(heights, lying)) == 1
    assert standing_water(ground(heights, lying, aimed=returns()), thin_max_ratio=USUAL.thin_max_ratio) == []


def test_crowns_that_hang_over_a_pond_do_not_move_its_shore() -> None:
    """Pulses that crowns took within 4 m of the shore count as aimed at the water; the pond keeps its size."""
    overhung = (FROM_MIDDLE < 12) & (FROM_MIDDLE > 8) & (MIDDLE[0] < EAST)
    lying = returns(silent=FROM_MIDDLE < 12)
    aimed = np.where(overhung, returns(seed=7), lying).astype(np.float32)
    (found,) = standing_water(ground(basin(12.0), lying, aimed=aimed), thin_max_ratio=USUAL.thin_max_ratio)
    assert overlap(found.shape, Point(MIDDLE).buffer(12.0)) > 0.85


def test_island_stays_land() -> None:
    """Ground that rises from the water inside the shore is a hole in the outline."""
    heights = basin(25.0)
    heights = np.where(FROM_MIDDLE < 8, heights + 1.5, heights).astype(np.float32)
    (found,) = bodies(heights, returns(silent=(FROM_MIDDLE < 25) & (FROM_MIDDLE >= 8)))
    assert len(found.interiors) == 1
    assert not found.contains(Point(MIDDLE))


def test_water_that_mirrors_straight_below_the_aircraft_is_part_of_the_pond() -> None:
    """Where half the pulses came back the surface is still water if it goes on at the same level."""
    heights = basin(25.0)
    inside = FROM_MIDDLE < 25
    last = np.where(MIDDLE[0] > EAST, returns(silent=inside), returns(silent=inside, remaining=0.5))
    (found,) = bodies(heights, last.astype(np.float32))
    assert overlap(found, Point(MIDDLE).buffer(25.0)) > 0.85


def test_water_class_of_the_survey_is_enough() -> None:
    """Water that sends back as many pulses as land is found from the class of its returns."""
    last = returns()
    water = np.where(FROM_MIDDLE < 12, last, 0).astype(np.float32)
    (found,) = bodies(basin(12.0), last, water)
    assert overlap(found, Point(MIDDLE).buffer(12.0)) > 0.9


def test_level_meadow_and_half_as_many_pulses_are_no_water() -> None:
    """Level ground alone, and a strip that one flight line of two covered, give nothing."""
    flat = np.full(GRID.shape, 50.0, np.float32) + np.random.default_rng(3).normal(0, 0.02, GRID.shape)
    assert bodies(flat.astype(np.float32), returns()) == []
    assert bodies(flat.astype(np.float32), returns(silent=WEST + 60 > EAST, remaining=0.5)) == []


def test_steep_ground_without_pulses_is_no_water() -> None:
    """A gap in the survey on a slope of 20 % is not level, so it is not water."""
    slope = (0.2 * (EAST - WEST)).astype(np.float32)
    assert bodies(slope, returns(silent=FROM_MIDDLE < 15, remaining=0.05)) == []


def test_survey_without_returns_and_land_beyond_its_edge_are_no_water() -> None:
    """Nothing surveyed is not water, nor is what lies outside the flown strip."""
    flat = np.full(GRID.shape, 50.0, np.float32)
    assert bodies(flat, np.zeros(GRID.shape, np.float32)) == []
    assert bodies(flat, returns(silent=WEST + 60 > EAST, remaining=0.0)) == []


def test_smaller_than_the_standard_draws_is_left_out() -> None:
    """A pool of 4 m across is below the 0.3 mm (4.5 m) that ISOM 2017-2 asks of 302."""
    assert bodies(basin(2.0), returns(silent=FROM_MIDDLE < 2)) == []


def test_water_stays_a_proposal_that_names_the_legal_question() -> None:
    """Standing water is drawn as 302, never as the forbidden 301, and its evidence asks for a check."""
    last = returns(silent=FROM_MIDDLE < 12)
    found = draft_water(ground(basin(12.0), last), scale=10000, settings=USUAL).features
    standing = found[found.geometry.geom_type == "Polygon"]
    assert list(standing.symbol) == ["302"]
    assert "301" in standing.evidence.iloc[0]
    assert standing.confidence.iloc[0] <= 0.95


@pytest.mark.parametrize(
    ("density", "tilt", "count"), [(0.1, 0.03, 1), (0.44, 0.045, 0), (0.44, 0.0, 1), (0.1, 0.09, 0)]
)
def test_a_body_must_be_silent_and_level_or_calm(density: float, tilt: float, count: int) -> None:
    """Two pulses of five that came back from a courtyard tell of water only where it is as level as a calm lake."""
    inside = FROM_MIDDLE < 12
    heights = np.where(inside, 50 + tilt * (EAST - MIDDLE[0]), 52.0).astype(np.float32)
    surface = Surface(inside, np.zeros(GRID.shape, bool), np.where(inside, density, 1).astype(np.float32))
    last = returns()
    sight = Sight(GRID, heights, np.zeros_like(last), last, last, np.zeros_like(last))
    assert len(bodies_of(surface, sight)) == count


def test_a_survey_of_few_pulses_tells_no_water_from_gaps() -> None:
    """With 0.05 pulses a m2 the gaps between scan lines are as wide as ponds."""
    last = returns(per_m2=0.05)
    flat = np.full(GRID.shape, 50.0, np.float32)
    assert bodies(flat, np.where(np.sin(NORTH / 8) > 0.2, last, 0).astype(np.float32)) == []


def test_ground_that_no_block_holds_hides_no_water() -> None:
    """Where no tile lies counts are unknown, not 0: a pond in an L-shaped survey is still found."""
    last = returns(silent=FROM_MIDDLE < 12)
    heights = basin(12.0)
    for raster in (last, heights):
        raster[:60, :60] = np.nan
    (found,) = bodies(heights, last)
    assert overlap(found, Point(MIDDLE).buffer(12.0)) > 0.85


@pytest.mark.parametrize("radius_m", [7.0, 12.0, 25.0])
def test_a_pond_of_a_large_area_is_drawn_as_that_of_a_small_one(
    radius_m: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Searched in cells of 2 m, a pond gets the shore that it has when all is looked at in cells of 0.5 m."""
    heights, last = basin(radius_m), returns(silent=radius_m > FROM_MIDDLE)
    (whole,) = bodies(heights, last)
    # The search sees 60 x 60 cells; the pond's own surroundings are allowed as many as they have.
    monkeypatch.setattr(search, "MOST_SEARCHED", 60 * 60)
    (found,) = bodies(heights, last)
    assert overlap(found, whole) > 0.97


def test_a_lake_too_large_for_the_memory_is_drawn_in_larger_cells(monkeypatch: pytest.MonkeyPatch) -> None:
    """A lake whose surroundings hold too many cells is still one lake, its shore a little coarser."""
    monkeypatch.setattr(search, "MOST_SEARCHED", 60 * 60)
    monkeypatch.setattr(search, "MOST_DRAWN", 100 * 100)
    (found,) = bodies(basin(25.0), returns(silent=FROM_MIDDLE < 25))
    assert overlap(found, Point(MIDDLE).buffer(25.0)) > 0.85


def test_ponds_beside_each_other_are_drawn_once_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two ponds whose windows overlap give two bodies in a large area as in a small one."""
    flat = np.full(GRID.shape, 50.0, np.float32)
    silent = (np.hypot(EAST - MIDDLE[0] + 15, NORTH - MIDDLE[1]) < 10) | (
        np.hypot(EAST - MIDDLE[0] - 15, NORTH - MIDDLE[1]) < 10
    )
    heights = np.where(silent, flat - 1, flat)
    monkeypatch.setattr(search, "MOST_SEARCHED", 60 * 60)
    assert len(bodies(heights, returns(silent=silent))) == 2


def test_a_lake_that_the_survey_cuts_reaches_its_edge() -> None:
    """Half a lake at the western edge is drawn up to the edge itself, corners included."""
    away = np.hypot(EAST - WEST, NORTH - MIDDLE[1])
    noise = np.random.default_rng(4).normal(0, 0.02, GRID.shape)
    heights = (98.0 + np.maximum(away - 30, 0) / 3 + noise).astype(np.float32)
    (found,) = bodies(heights, returns(silent=away < 30))
    west = GRID.bounds[0]
    along_edge = found.intersection(shapely.box(west - 1, SOUTH, west + 0.01, SOUTH + 120))
    assert along_edge.bounds[3] - along_edge.bounds[1] > 0.95 * 60
    true = shapely.intersection(Point(WEST, MIDDLE[1]).buffer(30), shapely.box(*GRID.bounds))
    assert isinstance(true, Polygon)
    assert overlap(found, true) > 0.9


def test_a_pool_too_small_for_an_area_is_a_waterhole() -> None:
    """A pool of 10 m across is less than the 110 m2 of 302, so it is a point, 303."""
    found = draft_water(ground(basin(5.2), returns(silent=FROM_MIDDLE < 5.2)), scale=10000, settings=USUAL).features
    assert list(found.symbol) == ["303"]
    assert found.geometry.iloc[0].distance(Point(MIDDLE)) < 2


@pytest.mark.parametrize(("level_m", "shore_m", "symbol"), [(0.4, 250, "301"), (80.0, 250, "302"), (0.4, 60, "302")])
def test_the_sea_is_told_by_level_and_extent(level_m: float, shore_m: float, symbol: str) -> None:
    """Ten hectares at the level of the sea that go on beyond the survey are 301; a lake or a small creek is 302."""
    grid = Grid("EPSG:25832", 0, 200, 2.0, 200, 200)
    east, _ = np.meshgrid(*grid.centres())
    wet = east < shore_m
    random = np.random.default_rng(6)
    heights = level_m + np.maximum(east - shore_m, 0) / 3 + random.normal(0, 0.02, grid.shape)
    last = random.poisson(np.where(wet, 0.1, 8.0)).astype(np.float32)
    found = draft_water(ground(heights.astype(np.float32), last, grid=grid), scale=10000, settings=USUAL).features
    body = max(found.itertuples(), key=lambda each: each.geometry.area)
    assert body.symbol == symbol
