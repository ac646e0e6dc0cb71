"""White too small to be read as forest goes to the vegetation beside it; real openings stay."""

from __future__ import annotations

import geopandas as gpd
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.draft.collisions import resolve_areas
from pipeline.draft.white_rims import fill_pinholes, fill_white_rims
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


def test_a_house_that_is_only_proposed_fills_nothing() -> None:
    """It is not printed, so that its rim is part of an opening with the ground under it."""
    given = features(("401", meadow_with_hole(1.5)), ("521", HOUSE))
    for status, is_filled in (("draft", True), ("candidate", False)):
        found, _ = fill_white_rims(given.assign(status=["draft", status]), SYMBOLS)
        assert (area_of(found, "401") == pytest.approx(120 * 120 - HOUSE.area)) == is_filled


@pytest.mark.parametrize(("side_m", "is_filled"), [(1.0, True), (9.0, True), (12.0, False)])
def test_a_hole_too_small_for_an_opening_is_filled(side_m: float, is_filled: bool) -> None:
    """Up to the least 408, 110 m2; what is drawn inside the hole stays as it is."""
    hole = shapely.box(60, 60, 60 + side_m, 60 + side_m)
    thicket = shapely.difference(shapely.box(0, 0, 120, 120), hole)
    found, gone = fill_pinholes(features(("408", thicket)), SYMBOLS)
    assert (area_of(found, "408") == pytest.approx(120 * 120)) == is_filled
    assert len(gone) == 0
    pond = shapely.box(60, 60, 60.5, 60.5)
    found, _ = fill_pinholes(features(("408", thicket), ("301", pond)), SYMBOLS)
    assert area_of(found, "408") == pytest.approx(120 * 120 - (pond.area if is_filled else hole.area))
    assert area_of(found, "301") == pond.area
