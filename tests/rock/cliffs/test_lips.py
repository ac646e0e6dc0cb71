"""Lips on analytic ground: a terrace that a filter cut off comes back, a slope with plants on it stays a slope."""

from __future__ import annotations

from functools import cache

import geopandas as gpd
import numpy as np
import pytest
from shapely import LineString

from pipeline.lattice.grid import Grid, Heights
from pipeline.points.classes import classify_returns
from pipeline.returns.cloud import Cloud
from pipeline.rock.cliffs.cliffs import cut_where_weak, find_cliffs, measure_faces
from pipeline.rock.cliffs.falls import Steps, measure_steps
from pipeline.rock.cliffs.lips import put_back_lips
from pipeline.settings import PointsSettings, RockSettings, TerrainSettings
from pipeline.terrain.surface import ground_support, lowest_last, surface_from_ground

SETTINGS = RockSettings()
GRID = Grid.covering((0, 0, 60, 60), cell_m=0.5, crs="EPSG:25833")
EAST, NORTH = np.meshgrid(*GRID.centres())
LIP_EAST = 30.25


def terrace(height_m: float, *, lost_m: float = 0.0, slope: float = 0.1) -> Heights:
    """Ground falling to the east with a step near east 30, the last metres behind its lip cut off to a ramp."""
    step = height_m * np.clip((LIP_EAST - EAST) / max(lost_m, 0.1), 0, 1)
    return (200 - slope * EAST + step).astype(np.float32)


def seen(ground: Heights, *, plants: float, seed: int = 3) -> Heights:
    """What is lowest in each cell: ground with 5 cm of noise, plants over a share of it, a tenth without return."""
    rng = np.random.default_rng(seed)
    lowest = ground + rng.normal(0, 0.05, ground.shape)
    lowest += np.where(rng.random(ground.shape) < plants, rng.uniform(0.2, 2.5, ground.shape), 0)
    lowest[rng.random(ground.shape) < 0.1] = np.nan
    return lowest.astype(np.float32)


@pytest.mark.parametrize("height_m", [1.0, 1.5, 2.0, 3.0])
@pytest.mark.parametrize("plants", [0.0, 0.5])
def test_a_terrace_comes_back_up_to_its_lip(height_m: float, plants: float) -> None:
    """Two metres lost behind the lip come back to within 0.15 m, and nothing else moves as far."""
    truth, cut = terrace(height_m), terrace(height_m, lost_m=2.0)
    back = put_back_lips(cut, seen(truth, plants=plants), GRID)
    inner = (NORTH > 6) & (NORTH < 54)
    lost = inner & (EAST > LIP_EAST - 1.9) & (EAST < LIP_EAST - 0.3)
    assert (cut - truth)[lost].mean() < -0.35 * height_m
    assert abs(float((back - truth)[lost].mean())) < 0.15
    elsewhere = (EAST < LIP_EAST - 2.0) | (EAST > LIP_EAST + 0.6)
    assert np.abs(back - cut)[elsewhere].max() < 0.15


@pytest.mark.parametrize(("height_m", "ramp_m"), [(1.5, 2.0), (2.0, 3.0), (3.0, 4.0)])
def test_a_slope_with_plants_stays_a_slope(height_m: float, ramp_m: float) -> None:
    """Where returns come from beneath the ground above, it does not reach so far."""
    ramp = terrace(height_m, lost_m=ramp_m)
    back = put_back_lips(ramp, seen(ramp, plants=0.5), GRID)
    assert float((back - ramp).max()) < 0.35 * height_m
    assert float((back - ramp)[np.abs(EAST - LIP_EAST) < 5].mean()) < 0.05


@pytest.mark.parametrize("slope", [0.0, 0.5, 1.0])
def test_even_ground_with_noise_has_no_lips(slope: float) -> None:
    """Level ground and slopes of up to 45 degrees with 0.1 m of noise are left as they are."""
    heights = terrace(0.0, slope=slope) + np.random.default_rng(4).normal(0, 0.1, GRID.shape).astype(np.float32)
    back = put_back_lips(heights, seen(heights, plants=0.5), GRID)
    assert np.array_equal(back, heights)


def test_ground_that_is_not_known_stays_unknown() -> None:
    """Holes in the bare earth are not filled."""
    cut = terrace(2.0, lost_m=2.0)
    cut[40:60, 50:65] = np.nan
    back = put_back_lips(cut, seen(terrace(2.0), plants=0.3), GRID)
    assert np.array_equal(np.isnan(back), np.isnan(cut))


def forest(*, height_m: float, seed: int, slope: float = 0.15, ramp_m: float = 0.3) -> Cloud:
    """A gentle slope of 100 m with a step at east 50 under crowns and undergrowth, 10 last returns per m2.

    A quarter of the pulses reach the ground, the others end in crowns and in plants close to it.
    """
    rng = np.random.default_rng(seed)
    en = rng.uniform(0, 100, (100_000, 2))
    along = np.clip(np.minimum(en[:, 1] - 20, 80 - en[:, 1]) / (2.2 * max(height_m, 1e-3)), 0, 1)
    step = height_m * along * np.clip((50 - en[:, 0]) / ramp_m, 0, 1) * np.clip(1 - (50 - en[:, 0]) / 30, 0, 1)
    ground = 300 - slope * en[:, 0] + 0.1 * np.sin(en[:, 0] / 5) * np.sin(en[:, 1] / 6) + step
    fate = rng.random(len(en))
    plant = np.where(fate < 0.5, rng.uniform(4, 18, len(en)), rng.exponential(0.5, len(en)))
    height = ground + np.where(fate < 0.75, plant, 0) + rng.normal(0, 0.03, len(en))
    return Cloud.of(np.column_stack((en, height)))


@cache
def drawn(height_m: float, *, slope: float = 0.15, ramp_m: float = 0.3, lips: bool = True) -> gpd.GeoDataFrame:
    """Cliffs the draft would draw in such a forest, from the returns on."""
    cloud = forest(height_m=height_m, seed=7, slope=slope, ramp_m=ramp_m)
    classes = classify_returns(cloud, settings=PointsSettings()).asprs_class
    grid = Grid.covering((0, 0, 100, 100), cell_m=0.5, crs="EPSG:25833")
    earth = cloud.take(classes == 2)
    heights = surface_from_ground(earth.enh, grid, settings=TerrainSettings())
    lowest = lowest_last(cloud, classes, grid) if lips else None
    table = find_cliffs(
        heights,
        ground_support(earth.en, grid),
        grid,
        lowest=lowest,
        excess_m=SETTINGS.cliff_excess_m,
        impassable_min_height_m=SETTINGS.impassable_min_height_m,
    )
    return table[table.confidence >= SETTINGS.least_cliff_confidence]


@pytest.mark.parametrize("height_m", [1.5, 2.0, 3.0])
def test_a_low_cliff_under_crowns_is_found(height_m: float) -> None:
    """A step under crowns becomes a line near its edge over most of its length; ISOM 2017-2, 202: from 1 m."""
    table = drawn(height_m)
    near = table.geometry.distance(gpd.points_from_xy([50], [50])[0]) < 3
    assert near.any()
    assert 25 < table[near].geometry.length.sum() < 70
    assert len(table) == near.sum()
    assert abs(float(table[near].height_m.max()) - height_m) < 0.5


def test_the_lowest_returns_make_it_surer() -> None:
    """From the bare earth alone, whose lip the filter took off, a step of 1.5 m is twice as doubtful and shorter."""
    with_lips, without = drawn(1.5), drawn(1.5, lips=False)
    assert 1 - with_lips.confidence.max() < 0.5 * (1 - without.confidence.max())
    assert with_lips.geometry.length.sum() > without.geometry.length.sum() - 1


@pytest.mark.parametrize(("height_m", "slope", "ramp_m"), [(0.0, 0.15, 0.3), (0.0, 0.8, 0.3), (2.0, 0.15, 4.0)])
def test_slopes_under_crowns_are_no_cliffs(height_m: float, slope: float, ramp_m: float) -> None:
    """Nothing is drawn on a gentle slope, on a steep even one, and on a bank of 27 degrees."""
    assert len(drawn(height_m, slope=slope, ramp_m=ramp_m)) == 0


def test_a_face_tells_what_lies_on_either_side() -> None:
    """The jump is the height of a step; next to no return lies between, and most do where a bank of 2 m falls."""
    cliff = measure_faces(terrace(2.0), np.zeros(GRID.shape, np.float32), GRID, excess_m=SETTINGS.cliff_excess_m)
    assert len(cliff) == 1
    assert abs(cliff[0].jump_m - 2.0) < 0.15
    assert cliff[0].face_share < 0.1
    bank = measure_faces(
        terrace(2.0, lost_m=2.0), np.zeros(GRID.shape, np.float32), GRID, excess_m=SETTINGS.cliff_excess_m
    )
    assert bank[0].face_share > 0.4


def test_a_cliff_that_runs_on_into_a_bank_is_measured_alone() -> None:
    """A line along a step of 5 m that goes on as one of 0.9 m is cut where it changes, to within 2 m."""
    height = np.where(NORTH < 30, 5.0, 0.9)
    heights = (200 + height * np.clip((LIP_EAST - EAST) / 0.6, 0, 1)).astype(np.float32)
    steps = measure_steps(heights, GRID)
    pieces = cut_where_weak(LineString([(LIP_EAST, 3), (LIP_EAST, 57)]), steps, GRID, excess_m=SETTINGS.cliff_excess_m)
    assert len(pieces) == 1
    assert abs(pieces[0].bounds[3] - 30) < 2


def test_a_short_weak_end_stays_with_its_cliff() -> None:
    """A line with 6 m of weak step in 54 m is left whole."""
    height = np.where(NORTH < 51, 5.0, 0.9)
    heights = (200 + height * np.clip((LIP_EAST - EAST) / 0.6, 0, 1)).astype(np.float32)
    steps = measure_steps(heights, GRID)
    line = LineString([(LIP_EAST, 3), (LIP_EAST, 57)])
    assert cut_where_weak(line, steps, GRID, excess_m=SETTINGS.cliff_excess_m) == [line]


@pytest.mark.parametrize(("leads_down", "n_pieces"), [(True, 2), (False, 1)])
def test_two_steps_one_below_the_other_are_cut_where_the_line_leads_down(leads_down: bool, n_pieces: int) -> None:
    """Two steps 15 m apart are two lines, though little between is weak; a line along a side that is low stays one."""
    line = LineString([(5, 45), (25, 45), (25, 30), (55, 30)])
    is_strong = (NORTH > 43) | (NORTH < 32)
    down_north = np.where(is_strong | leads_down, -1.0, 0.0)
    steps = Steps(np.full(GRID.shape, 5.0), np.where(is_strong, 4.0, 0.5), 1.0 - np.abs(down_north), down_north)
    pieces = cut_where_weak(line, steps, GRID, excess_m=SETTINGS.cliff_excess_m)
    assert len(pieces) == n_pieces
    if leads_down:
        assert [piece.length for piece in pieces] == pytest.approx([22, 32], abs=2)
