"""Symbol numbers however people write them."""

from __future__ import annotations

import geopandas as gpd
import pytest
from shapely.geometry import Point

from pipeline.norm.symbols import norm_table
from pipeline.refresh.old.numbers import isom_number, numbers_of, text_of
from pipeline.refresh.old.old_map import GivenLayer

CRS = "EPSG:25832"


def layer(columns: dict[str, list[object]], name: str = "map", *, is_drawing: bool = False) -> GivenLayer:
    """A layer of points with these columns."""
    n = len(next(iter(columns.values())))
    table = gpd.GeoDataFrame(columns, geometry=[Point(k, 0) for k in range(n)], crs=CRS)
    return GivenLayer(name, table, CRS, is_drawing)


@pytest.mark.parametrize(
    ("value", "number"),
    [
        (204, "204"),
        (204.0, "204"),
        ("204", "204"),
        ("204.0", "204"),
        ("204,0", "204"),
        (204000, "204"),
        ("101001", "101.1"),
        ("402.1", "402.1"),
        ("203100", "203.1"),
        ("203", "203.1"),
        ("204 Boulder", "204"),
        ("ISOM 505", "505"),
        ("505_fill", "505"),
        ("boulder", "204"),
        ("703", "703"),
    ],
)
def test_a_number_is_read(value: object, number: str) -> None:
    """Common ways to write a symbol number mean the number of the norm."""
    assert isom_number(text_of(value), norm_table()) == number


@pytest.mark.parametrize("value", ["", "999", "1004", "2041", "20", "x", "204x5", "2017", None, float("nan"), "a" * 99])
def test_what_is_no_number_is_none(value: object) -> None:
    """Numbers that the norm does not have, years and other words are no symbols."""
    assert isom_number(text_of(value), norm_table()) is None


def test_the_column_with_numbers_is_found() -> None:
    """A column of numbers wins over one of the likeliest name that holds other things."""
    given = layer({"symbol": ["tree", "path"], "ISOM_Code": [417000, 505000], "height": [204, 205]})
    found = numbers_of(given, {}, norm_table())
    assert (found.column, list(found.numbers)) == ("ISOM_Code", ["417", "505"])


def test_the_name_of_a_layer_serves_where_no_column_does() -> None:
    """A layer called 204 is of boulders."""
    found = numbers_of(layer({"note": ["a", "b"]}, "204_boulders"), {}, norm_table())
    assert list(found.numbers) == ["204", "204"]


def test_a_table_of_own_numbers_goes_first() -> None:
    """The mapper's table says what a number means; what it does not list is read as one of the norm, and counted."""
    found = numbers_of(layer({"code": ["204", "7", "505"]}), {"204": "205", "7": "416"}, norm_table())
    assert list(found.numbers) == ["205", "416", "505"]
    assert found.beside_table == 1


def test_unknown_numbers_are_told() -> None:
    """What could not be read is counted; layers of a drawing without a number in their name are no numbers."""
    assert numbers_of(layer({"symbol": ["204", "999", "999"]}), {}, norm_table()).unknown == {"999": 2}
    drawing = layer({"layer": ["204", "0", "FRAME", "999"]}, is_drawing=True)
    assert numbers_of(drawing, {}, norm_table()).unknown == {"999": 1}
