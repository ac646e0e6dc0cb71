"""What the steps of a field look at to tell whether anything changed."""

from __future__ import annotations

import geopandas as gpd
import shapely

from pipeline.steps.field.reading import table_text


def boulders(heights_m: list[float], first: int) -> gpd.GeoDataFrame:
    """Boulders in a row, numbered from `first` on."""
    places = shapely.points([(10.0 * number, 5.0) for number in range(len(heights_m))])
    numbers = range(first, first + len(heights_m))
    return gpd.GeoDataFrame({"height_m": heights_m}, geometry=places, crs="EPSG:25832", index=numbers)


def test_a_table_is_known_by_what_it_holds_and_not_by_the_numbers_of_its_rows() -> None:
    """A boulder more in a block that a field does not reach moves the numbers of all that come after it."""
    text = table_text(boulders([1.0, 1.5], 0))
    assert text == table_text(boulders([1.0, 1.5], 7))
    assert text != table_text(boulders([1.0, 1.6], 0))
    assert text != table_text(boulders([1.0, 1.5, 1.5], 0))
    moved = boulders([1.0, 1.5], 0)
    assert text != table_text(moved.set_geometry(shapely.points([(0.0, 5.0), (10.0, 5.1)]), crs=moved.crs))
