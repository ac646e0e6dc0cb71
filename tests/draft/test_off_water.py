"""Contours and standing water: a line does not run across a lake, and may run along its shore."""

from __future__ import annotations

import geopandas as gpd
import pytest
from shapely.geometry import LineString, Point, box

from pipeline.draft.off_water import ALONG_SHORE_M, off_water
from pipeline.features import join_features, make_features

CRS = "EPSG:25832"
LAKE = box(0, 0, 60, 40)


def with_lake(line: LineString, symbol: str = "101", water: str = "302") -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """What stays of a line beside a lake, and what was left out."""
    given = [(LAKE, water), (line, symbol)]
    tables = [make_features([what], crs=CRS, symbol=of, confidence=0.5, evidence="made") for what, of in given]
    stays, gone = off_water(join_features(tables, CRS))
    return stays[stays["symbol"] == symbol], gone


@pytest.mark.parametrize("symbol", ["101", "102", "103"])
@pytest.mark.parametrize("water", ["301", "302"])
def test_a_contour_across_a_lake_ends_at_its_shores(symbol: str, water: str) -> None:
    """Of a line of 100 m over 60 m of water two pieces of 20 m stay, which run the way it ran."""
    stays, gone = with_lake(LineString([(-20, 20), (80, 20)]), symbol, water)
    assert sorted(stays.length) == pytest.approx([20, 20], abs=1e-3)
    assert all(line.coords[-1][0] > line.coords[0][0] for line in stays.geometry)
    assert len(gone) == 0


def test_a_contour_within_a_lake_is_left_out() -> None:
    """A ring in the midst of a lake goes, and is listed."""
    stays, gone = with_lake(LineString(Point(30, 20).buffer(10).exterior.coords))
    assert len(stays) == 0
    assert len(gone) == 1


def test_a_ring_that_is_cut_once_is_one_line() -> None:
    """A ring that begins on land and crosses the shore twice stays as one piece."""
    stays, _ = with_lake(LineString(Point(60, 20).buffer(12).exterior.coords))
    assert len(stays) == 1


@pytest.mark.parametrize("line", [[(-20, 1), (80, 1)], [(-20, -5), (80, -5)]])
def test_a_contour_along_the_shore_stays(line: list[tuple[float, float]]) -> None:
    """One that runs along a bank, on land or a metre out in the water, is kept whole."""
    assert ALONG_SHORE_M > 1
    (length_m,) = with_lake(LineString(line))[0].length
    assert length_m == pytest.approx(100)


def test_other_lines_cross_water() -> None:
    """A wire over a lake stays."""
    assert with_lake(LineString([(-20, 20), (80, 20)]), "510")[0].length.tolist() == pytest.approx([100])
