"""A finished map beside a new survey: each change that was made is told, and a map that is only off tells none."""

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from pipeline.refresh.compare.by_map import FROM, LEAST_OFF_M, UNKNOWN_OFF_M, ByMap, changes_by_map, off_of
from pipeline.refresh.compare.survey import Survey
from pipeline.refresh.refresh import refresh
from pipeline.refresh.register.shift import Shift, Surface
from tests.refresh.made import GRID, features, surface

WEST, SOUTH = 500_000.0, 5_700_000.0
Row = Mapping[str, Any]


def box(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    """A rectangle in metres from the corner of the made ground."""
    return shapely.box(WEST + west, SOUTH + south, WEST + east, SOUTH + north)


def area(symbol: str, shape: shapely.Polygon, **more: object) -> Row:
    """An area of the vegetation."""
    return {"symbol": symbol, "layer": "vegetation_area", "geometry": shape, **more}


def house(west: float, south: float, **more: object) -> Row:
    """A house of 10 m by 10 m."""
    shape = box(west, south, west + 10, south + 10)
    return {"symbol": "521", "layer": "manmade_area", "geometry": shape, **more}


def way(symbol: str, *places: tuple[float, float], **more: object) -> Row:
    """A line of the man-made section."""
    line = shapely.LineString([(WEST + x, SOUTH + y) for x, y in places])
    return {"symbol": symbol, "layer": "manmade_line", "geometry": line, **more}


RIM: list[Row] = [
    {"symbol": "101", "layer": "landform_line", "geometry": shapely.LineString(box(a, a, 160 - a, 160 - a).exterior)}
    for a in (2, 25, 50, 75)
]
"""Contours all over the ground, so that it belongs to the map."""
FIELD = box(10, 10, 60, 60)
PATH, HOUSE = way("505", (0, 150), (160, 150)), house(90, 20)
MAP: list[Row] = [*RIM, area("401", FIELD), PATH, HOUSE]


def cells(shape: shapely.Polygon) -> NDArray[np.bool_]:
    """The cells of the grid in a shape."""
    return np.asarray(shapely.contains_xy(shape, *np.meshgrid(*GRID.centres())), np.bool_)


def survey(*, bare: list[shapely.Polygon], roofs: list[shapely.Polygon]) -> Surface:
    """Forest 12 m high but for what is bare, and no ground returns under roofs."""
    made = surface()
    canopy, support = np.full(GRID.shape, 12, np.float32), np.full(GRID.shape, 0.3, np.float32)
    for shape in bare:
        canopy[cells(shape)] = 0
    for shape in roofs:
        canopy[cells(shape)], support[cells(shape)] = 0, 3
    return Surface(GRID, made.bare_earth, support, canopy)


def found(old: list[Row], new: list[Row], seen: Surface, *, off_m: float = LEAST_OFF_M) -> ByMap:
    """What the map and the survey say between them."""
    return changes_by_map(features(old), features(new), seen, off_m=off_m)


UNCHANGED = survey(bare=[FIELD], roofs=[HOUSE["geometry"]])


def shifted(rows: list[Row], east_m: float) -> list[Row]:
    """The rows, all of them off to the east."""
    return [{**row, "geometry": shapely.affinity.translate(row["geometry"], east_m)} for row in rows]


@pytest.mark.parametrize("east_m", [0.0, 4.0, -4.0])
def test_a_map_that_is_off_by_less_than_is_stated_tells_no_change(east_m: float) -> None:
    """Neither at the edge of a field nor of a house."""
    assert found(shifted(MAP, east_m), MAP, UNCHANGED).patches.empty


def test_forest_that_is_open_now_was_felled() -> None:
    """The patch is what was cleared; a glade below the norm's least area and a strip along a path are none."""
    cut = box(90, 90, 130, 130)
    glade, strip = box(100, 50, 110, 60), box(0, 145, 160, 155)
    seen = survey(bare=[FIELD, cut, glade, strip], roofs=[HOUSE["geometry"]])
    now = [*MAP, area("403", cut), area("403", glade), area("403", strip)]
    told = found(MAP, now, seen).patches
    assert told["kind"].tolist() == ["felled"]
    assert told.geometry.iloc[0].symmetric_difference(cut).area < 0.15 * cut.area
    assert 0.5 < told["sure"].iloc[0] < 0.8
    assert FROM in told["evidence"].iloc[0]
    green = found([*MAP, area("406", cut)], now, seen).patches
    assert green["sure"].iloc[0] == pytest.approx(told["sure"].iloc[0] - 0.1)
    assert found(MAP, MAP, seen).patches.empty, "a glade that the new draft does not draw either is no change"


def test_open_land_that_is_forest_now_has_grown_up() -> None:
    """But not rough open land with scattered trees, where trees stood before."""
    seen = survey(bare=[], roofs=[HOUSE["geometry"]])
    now = [row for row in MAP if row["symbol"] != "401"]
    told = found(MAP, now, seen).patches
    assert told["kind"].tolist() == ["grown"]
    assert told.geometry.iloc[0].symmetric_difference(FIELD).area < 0.1 * FIELD.area
    scattered = [*now, area("404", FIELD)]
    assert found(scattered, now, seen).patches.empty


def test_houses_that_went_and_came() -> None:
    """One is gone where the ground is seen; where a roof still hides it, the draft has only missed it."""
    new_house = house(120, 100)
    now = [*(row for row in MAP if row is not HOUSE), new_house]
    seen = survey(bare=[FIELD], roofs=[new_house["geometry"]])
    told = found(MAP, now, seen).patches
    assert sorted(told["kind"]) == ["building gone", "built"]
    hidden = survey(bare=[FIELD], roofs=[HOUSE["geometry"], new_house["geometry"]])
    assert found(MAP, now, hidden).patches["kind"].tolist() == ["built"]
    doubtful = [*MAP, house(120, 100, confidence=0.4), house(40, 120, status="candidate")]
    assert found(MAP, doubtful, hidden).patches.empty


def test_a_road_far_from_any_way_is_new() -> None:
    """Along more than 50 m; a path of the draft is no witness, nor a road beside a drawn path."""
    road = way("503", (20, 80), (150, 80))
    told = found(MAP, [*MAP, road], UNCHANGED).patches
    assert told["kind"].tolist() == ["track"]
    beside, short = way("503", (10, 147), (150, 147)), way("503", (20, 80), (65, 80))
    assert found(MAP, [*MAP, beside, short, way("505", (20, 80), (150, 80))], UNCHANGED).patches.empty


def test_what_the_map_has_nothing_of_is_not_told_and_said_so() -> None:
    """Contours alone tell of no trees, no houses and no roads."""
    now = [*MAP, way("503", (20, 80), (150, 80))]
    told = found([*RIM], now, UNCHANGED)
    assert told.patches.empty
    words = " ".join(told.notes)
    assert all(part in words for part in ("no vegetation", "no building", "no road, track or path"))


def test_a_map_that_leaves_open_land_out_tells_nothing_of_felling() -> None:
    """White that is mostly bare is no forest."""
    everywhere = box(0, 0, 160, 160)
    seen = survey(bare=[everywhere], roofs=[])
    told = found([*MAP], [*MAP, area("403", everywhere)], seen)
    assert "felled" not in set(told.patches["kind"])
    assert any("leaves open land out" in words for words in told.notes)


def test_beyond_the_map_nothing_is_new() -> None:
    """A house and a clearing where the map has not been drawn."""
    sheet = box(0, 0, 75, 160)
    part = [{**row, "geometry": row["geometry"].intersection(sheet)} for row in MAP if row is not HOUSE]
    cut = box(125, 90, 160, 130)
    old = [row for row in [*part, house(40, 120)] if not row["geometry"].is_empty]
    seen = survey(bare=[FIELD, cut], roofs=[box(40, 120, 50, 130), box(140, 20, 150, 30)])
    assert found(old, [*old, house(140, 20), area("403", cut)], seen).patches.empty


def test_the_distance_is_the_stated_error_and_at_least_five_metres() -> None:
    """And more where nobody could find how the map lies."""
    assert off_of(Shift(east_error_m=0.3, north_error_m=0.2)) == LEAST_OFF_M
    assert off_of(Shift(east_error_m=4.0, north_error_m=0.2)) == 8.0
    assert off_of(Shift()) == UNKNOWN_OFF_M


def test_features_are_changed_by_what_was_told_of_them_alone() -> None:
    """The house is gone, the felled part new open land; a contour through both stays as it is."""
    cut = box(90, 90, 130, 130)
    seen = survey(bare=[FIELD, cut], roofs=[])
    now = [*(row for row in MAP if row is not HOUSE), area("403", cut)]
    told = refresh(
        Survey(None, features(MAP)),
        Survey(seen, features(now)),
        shift=Shift(east_error_m=0.5, north_error_m=0.5, how="given"),
    )
    rows: gpd.GeoDataFrame = told.features
    changed = rows[rows["change"] != "unchanged"]
    assert sorted(zip(changed["symbol"], changed["change"], strict=True)) == [("403", "new"), ("521", "gone")]
    assert changed["evidence"].str.contains(FROM).all()
    assert set(rows.loc[rows["symbol"] == "101", "change"]) == {"unchanged"}
    assert told.notes
