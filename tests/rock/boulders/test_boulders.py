"""Boulders in made clouds: what is rock is found and measured, what is not is left alone."""

from __future__ import annotations

from dataclasses import fields

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid
from pipeline.returns.cloud import Cloud
from pipeline.rock.boulders import batches, confidence
from pipeline.rock.boulders.boulders import find_boulders, keep_best
from pipeline.rock.boulders.confidence import boulder_confidence
from pipeline.rock.boulders.evidence import Evidence
from pipeline.rock.boulders.low_returns import opened_grounds

SIDE_M = 60.0
MIDDLE = SIDE_M / 2
CORE = Grid.covering((10, 10, 50, 50), cell_m=0.5, crs="EPSG:25833")
SURE = 0.3


def field(
    per_m2: float = 8.0, *, slope: float = 0.0, seed: int = 3, side_m: float = SIDE_M
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Places of single returns and the ground under them: a plane with 3 cm of noise."""
    rng = np.random.default_rng(seed)
    en = rng.uniform(0, side_m, (round(per_m2 * side_m**2), 2))
    return en, 100 + slope * en[:, 0] + rng.normal(0, 0.03, len(en))


def dome(en: NDArray[np.float64], height_m: float, radius_m: float, at: tuple[float, float]) -> NDArray[np.float64]:
    """Height of half an ellipsoid over the ground."""
    d = np.hypot(en[:, 0] - at[0], en[:, 1] - at[1]) / radius_m
    return height_m * np.sqrt(np.clip(1 - d**2, 0, None))


def found(
    en: NDArray[np.float64],
    ground: NDArray[np.float64],
    over: NDArray[np.float64],
    *,
    kept_as_ground: bool = False,
    **columns: NDArray[np.generic],
) -> gpd.GeoDataFrame:
    """Boulders surer than SURE in a cloud of returns `over` a ground, as a filter that keeps or drops them gives it."""
    cloud = Cloud.of(np.column_stack((en, ground + over)), **columns)
    above = np.zeros(len(en)) if kept_as_ground else over
    classes = np.where((over > 0.3) & (not kept_as_ground), 3, 2).astype(np.uint8)
    table = find_boulders(cloud, classes, above.astype(np.float32), CORE)
    return table[(table.confidence >= SURE) & (table.height_m >= 0.9)]


@pytest.mark.parametrize(("height_m", "radius_m"), [(1.2, 1.2), (1.8, 1.6), (3.0, 2.4)])
def test_a_boulder_on_open_ground_is_found_and_measured(height_m: float, radius_m: float) -> None:
    """A half ellipsoid is found once, at its place, to within 0.3 m of height and 0.8 m of width."""
    en, ground = field()
    table = found(en, ground, dome(en, height_m, radius_m, (MIDDLE, MIDDLE)))
    assert len(table) == 1
    row = table.iloc[0]
    assert abs(row.geometry.x - MIDDLE) < 0.5
    assert abs(row.geometry.y - MIDDLE) < 0.5
    assert abs(row.height_m - height_m) < 0.3
    assert abs(row.width_m - 2 * radius_m) < 0.8
    assert row.symbol == ("205" if row.height_m >= 2 else "204")


def block(
    en: NDArray[np.float64], height_m: float, side_m: float, *, tilt: float = 0.0, at: float = MIDDLE
) -> NDArray[np.float64]:
    """Height over the ground of an upright block with square sides, its top tilted eastwards."""
    east, north = (en - at).T
    on = (np.abs(east) < side_m / 2) & (np.abs(north) < side_m / 2)
    return np.where(on, height_m + tilt * (east - side_m / 2), 0.0)


@pytest.mark.parametrize(("height_m", "side_m", "tilt"), [(1.8, 1.8, 0.0), (2.6, 2.0, 0.2), (1.5, 3.5, 0.2)])
def test_blocks_and_slabs_are_found_as_domes_are(height_m: float, side_m: float, tilt: float) -> None:
    """Rock with upright sides, as high as wide, slimmer, or a leaning slab, is found, measured, and nothing beside."""
    en, ground = field()
    table = found(en, ground, block(en, height_m, side_m, tilt=tilt))
    assert abs(table.height_m.max() - height_m) < 0.4
    assert (np.hypot(table.geometry.x - MIDDLE, table.geometry.y - MIDDLE) < side_m).all()


def test_a_block_on_a_steep_hummock_is_found() -> None:
    """The lowest ground within 9 m lies 1.5 m below its foot, yet the places around it count as open."""
    en, ground = field()
    hummock = dome(en, 1.8, 6.0, (MIDDLE, MIDDLE))
    table = found(en, ground + hummock, block(en, 1.8, 2.2))
    assert len(table) == 1


@pytest.mark.parametrize("slope", [0.3, 0.7])
@pytest.mark.parametrize("kept_as_ground", [False, True])
def test_a_boulder_on_a_slope_is_found_whatever_the_filter_did(slope: float, kept_as_ground: bool) -> None:
    """Neither a steep slope nor a filter that took the boulder for ground hides it or its height."""
    en, ground = field(slope=slope)
    table = found(en, ground, dome(en, 1.8, 1.6, (MIDDLE, MIDDLE)), kept_as_ground=kept_as_ground)
    assert len(table) == 1
    assert abs(table.height_m.iloc[0] - 1.8) < 0.35


@pytest.mark.parametrize("slope", [0.0, 0.5, 1.0])
def test_even_ground_has_no_boulders(slope: float) -> None:
    """A plane with ranging noise gives none, however steep."""
    en, ground = field(slope=slope)
    assert len(found(en, ground, np.zeros(len(en)))) == 0


def test_undergrowth_is_no_boulder() -> None:
    """A thicket in which one pulse in three reaches the ground gives none."""
    en, ground = field()
    rng = np.random.default_rng(8)
    over = np.where(rng.random(len(en)) < 0.67, rng.uniform(0.3, 2.5, len(en)), 0.0)
    assert len(found(en, ground, over)) == 0


def test_a_knoll_is_no_boulder() -> None:
    """A gentle mound of the height of a boulder belongs to the ground."""
    en, ground = field()
    d = np.hypot(en[:, 0] - MIDDLE, en[:, 1] - MIDDLE)
    assert len(found(en, ground + 2.0 * np.exp(-((d / 4.0) ** 2)), np.zeros(len(en)))) == 0


def test_a_tall_box_of_a_house_is_no_boulder() -> None:
    """What is wider than the widest boulder is left to the buildings."""
    en, ground = field()
    on = (np.abs(en[:, 0] - MIDDLE) < 6) & (np.abs(en[:, 1] - MIDDLE) < 8)
    assert len(found(en, ground, np.where(on, 4.0, 0.0))) == 0


def test_what_is_found_does_not_depend_on_the_order_of_returns_or_the_cut() -> None:
    """Shuffled returns give the same table, and two half cores give what the whole core gives."""
    en, ground = field()
    over = dome(en, 1.5, 1.4, (29.7, 30.2)) + dome(en, 1.2, 1.2, (41.3, 22.0))
    cloud = Cloud.of(np.column_stack((en, ground + over)))
    classes = np.full(len(en), 1, np.uint8)
    above = over.astype(np.float32)
    whole = find_boulders(cloud, classes, above, CORE)
    turned = np.random.default_rng(1).permutation(len(en))
    again = find_boulders(cloud.take(turned), classes, above[turned], CORE)
    west = Grid.covering((10, 10, 30, 50), cell_m=0.5, crs=CORE.crs)
    east = Grid.covering((30, 10, 50, 50), cell_m=0.5, crs=CORE.crs)
    halves = [find_boulders(cloud, classes, above, half) for half in (west, east)]
    assert len(whole) >= 2
    np.testing.assert_allclose(whole.geometry.x, again.geometry.x, atol=1e-6)
    np.testing.assert_allclose(whole.confidence, again.confidence, atol=1e-6)
    joined = np.sort(np.concatenate([half.geometry.x for half in halves]))
    np.testing.assert_allclose(np.sort(whole.geometry.x), joined, atol=1e-6)


def test_how_many_lumps_are_measured_at_a_time_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same boulders, to the last digit, whether lumps are measured seven at a time or all at once."""
    en, ground = field()
    over = dome(en, 1.8, 1.6, (MIDDLE, MIDDLE)) + dome(en, 1.2, 1.3, (MIDDLE + 8, MIDDLE))
    whole = found(en, ground, over)
    monkeypatch.setattr(batches, "BATCH", 7)
    in_sevens = found(en, ground, over)
    assert len(whole) == 2
    pd.testing.assert_frame_equal(pd.DataFrame(whole), pd.DataFrame(in_sevens))


def test_an_empty_cloud_has_no_boulders() -> None:
    """No returns, no rows, but the columns of the draft."""
    table = find_boulders(Cloud.empty(), np.empty(0, np.uint8), np.empty(0, np.float32), CORE)
    assert len(table) == 0
    assert "height_m" in table


def test_of_lumps_that_overlap_the_likeliest_is_kept() -> None:
    """A lump struck out by a likelier one does not strike out others."""
    places = np.array([(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (9.0, 0.0)])
    keep = keep_best(places, np.ones(4), np.array([0.9, 0.8, 0.7, 0.1]))
    assert keep.tolist() == [True, False, True, True]


def test_flight_lines_that_see_a_boulder_are_told_with_how_far_apart_they_lay_it() -> None:
    """A second line flown 0.10 m too high shows in the evidence; a single line says nothing of steadiness."""
    en, ground = field(12.0)
    line = (np.arange(len(en)) % 2).astype(np.uint16)
    over = dome(en, 1.8, 1.6, (MIDDLE, MIDDLE))
    text = found(en, ground + 0.10 * line, over, flight_line=line).evidence.iloc[0]
    apart_m = float(text.split("2 flight lines lay it ")[1].split(" m")[0])
    assert apart_m == pytest.approx(0.10, abs=0.03)
    assert "flight line" not in found(en, ground, over).evidence.iloc[0]


def test_a_boulder_whose_ground_was_seen_on_one_side_only_is_less_sure() -> None:
    """Without ground returns on half of its sides the confidence falls, and the evidence says so."""
    en, ground = field()
    over = dome(en, 1.8, 1.6, (MIDDLE, MIDDLE))
    east, north = (en - MIDDLE).T
    hidden = (over == 0) & (np.hypot(east, north) < 8) & (np.degrees(np.arctan2(north, east)) % 360 < 225)
    whole, part = found(en, ground, over), found(en[~hidden], ground[~hidden], over[~hidden])
    assert "of 8 sides" in part.evidence.iloc[0]
    assert "sides" not in whole.evidence.iloc[0]
    assert part.confidence.iloc[0] < whole.confidence.iloc[0] - 0.02


@pytest.mark.parametrize(("seen", "lost_sectors"), [(8, 0), (6, 0), (5, 1), (0, 6)])
def test_each_side_without_ground_costs_the_same_log_odds(
    seen: int, lost_sectors: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Apart from what the trees make of it, the rule takes its own share from the third unseen side on."""
    one = {f.name: np.ones(1) for f in fields(Evidence)} | {"sectors_seen": np.array([float(seen)])}
    with_rule = boulder_confidence(Evidence(**one))[0]
    monkeypatch.setattr(confidence, "UNSEEN_LOG_ODDS", 0.0)
    without = boulder_confidence(Evidence(**one))[0]
    odds = [np.log(sure / (1 - sure)) for sure in (without, with_rule)]
    assert odds[0] - odds[1] == pytest.approx(0.8 * lost_sectors)


@pytest.mark.parametrize("radius_m", [1.0, 1.8])
def test_opening_cuts_off_the_boulder_and_keeps_the_slope(radius_m: float) -> None:
    """The opened ground, for wide boulders and for narrow ones, runs under a boulder on a slope of 35 degrees."""
    en, ground = field(slope=0.7)
    over = dome(en, 2.0, radius_m, (MIDDLE, MIDDLE))
    for opened in opened_grounds(*_as_columns(en, ground + over, ground)):
        assert abs(opened[60, 60] - (100 + 0.7 * MIDDLE)) < 0.35


def test_ground_for_narrow_boulders_stays_on_a_hummock() -> None:
    """A hummock 12 m across is cut off where the widest boulders are looked for, and is ground for narrow ones."""
    en, ground = field()
    hummock = dome(en, 1.5, 6.0, (MIDDLE, MIDDLE))
    wide, narrow = opened_grounds(*_as_columns(en, ground + hummock, ground))
    assert wide[60, 60] < 100.4
    assert narrow[60, 60] > 100.9


def _as_columns(
    en: NDArray[np.float64], height: NDArray[np.float64], ground: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_], Grid]:
    """East, north, height, bare earth and whether last of the returns of the field, with its grid of 0.5 m."""
    grid = Grid.covering((0, 0, SIDE_M, SIDE_M), cell_m=0.5, crs=CORE.crs)
    return en[:, 0], en[:, 1], height, ground, np.ones(len(en), bool), grid
