"""White too small to be read as forest goes to the vegetation beside it; real openings stay."""

from __future__ import annotations

import geopandas as gpd
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.draft.collisions import resolve_areas
from pipeline.draft.white_rims import fill_white_rims
from pipeline.features import make_features
from pipeline.norm.symbols import norm_table

CRS = "EPSG:25832"
SYMBOLS = norm_table()
HOUSE = shapely.box(50, 50, 62, 58)


def features(*drawn: tuple[str, BaseGeometry]) -> gpd.GeoDataFrame:
    """Features of these symbols and shapes."""
    symbols, shapes = zip(*drawn, strict=True)
    return make_features(list(shapes), crs=CRS, symbol=list(symbols), confidence=0.5, evidence="")


def area_of(found: gpd.GeoDataFrame, symbol: str) -> float:
    """Square metres drawn with a symbol."""
    return float(found.geometry[found["symbol"] == symbol].area.sum())


def meadow_with_hole(rim_m: float) -> BaseGeometry:
    """Open land with white around where the house stands."""
    return shapely.difference(shapely.box(0, 0, 120, 120), shapely.box(*HOUSE.buffer(rim_m).bounds))


@pytest.mark.parametrize(("rim_m", "is_filled"), [(0.5, True), (1.5, True), (4.0, False)])
def test_a_rim_of_white_around_a_house_goes_to_the_meadow(rim_m: float, is_filled: bool) -> None:
    """Up to the least opening in 401, 110 m2; a wider belt of trees around the house stays."""
    given = features(("401", meadow_with_hole(rim_m)), ("521", HOUSE))
    found, gone = fill_white_rims(given, SYMBOLS)
    whole = 120 * 120 - HOUSE.area
    assert (area_of(found, "401") == pytest.approx(whole)) == is_filled
    assert len(gone) == 0
    assert found.is_valid.all()


def test_a_piece_that_a_cut_made_too_small_joins_its_neighbour() -> None:
    """A strip of rough open land behind a house is drawn as the slow forest beside it, and the list says so."""
    strip = shapely.box(50, 58, 62, 61)
    slow = shapely.difference(shapely.box(0, 0, 120, 120), shapely.union(HOUSE, strip))
    found, gone = fill_white_rims(features(("403", strip), ("406", slow), ("521", HOUSE)), SYMBOLS)
    assert found["symbol"].tolist() == ["406", "521"]
    assert area_of(found, "406") == pytest.approx(120 * 120 - HOUSE.area)
    assert gone["symbol"].tolist() == ["403"]
    assert gone["what"].tolist() == ["merged"]


def test_a_small_piece_in_white_forest_is_left_to_others() -> None:
    """Beside no vegetation it makes no hole: nothing is filled, and the least size is judged elsewhere."""
    given = features(("401", shapely.box(0, 0, 5, 5)), ("521", HOUSE))
    found, gone = fill_white_rims(given, SYMBOLS)
    assert len(found) == 2
    assert len(gone) == 0


def test_white_that_leads_on_into_the_forest_stays() -> None:
    """A house at the edge of a meadow keeps the forest behind it."""
    meadow = shapely.box(0, 0, 49, 120)
    found, _ = fill_white_rims(features(("401", meadow), ("521", HOUSE)), SYMBOLS)
    assert area_of(found, "401") == meadow.area


def test_without_it_the_house_has_a_rim() -> None:
    """The control: what is cut before leaves white beside the house."""
    given, _ = resolve_areas(features(("401", meadow_with_hole(1.5)), ("521", HOUSE)))
    assert area_of(given, "401") < 120 * 120 - HOUSE.area - 30
