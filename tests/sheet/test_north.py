"""Magnetic north and the lines that show it."""

import datetime
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from pipeline.sheet.page.north import (
    NORTH_LINE,
    SHEET_EDGE,
    decimal_year,
    declination,
    magnetic_north,
    north_lines,
    north_of_area,
    technical_lines,
)

UTM32 = "EPSG:25832"
SPRING = datetime.date(2027, 4, 10)
AREA = box(650_000, 5_320_000, 651_200, 5_321_000)


def test_decimal_year() -> None:
    """New Year is the whole number; the middle of a leap year is half a year."""
    assert decimal_year(datetime.date(2027, 1, 1)) == 2027.0
    assert decimal_year(datetime.date(2028, 7, 1)) == pytest.approx(2028 + 182 / 366)


def test_model_follows_the_date() -> None:
    """Each date is answered by the model that was made for it."""
    assert declination(latitude_deg=50, longitude_deg=10, year=2024.99)[2] == "WMM2020"
    assert declination(latitude_deg=50, longitude_deg=10, year=2025.0)[2] == "WMM2025"


def test_models_meet_where_one_follows_the_other() -> None:
    """At New Year 2025 the old model's forecast is near the new one."""
    before = declination(latitude_deg=50, longitude_deg=10, year=2024.999)[0]
    after = declination(latitude_deg=50, longitude_deg=10, year=2025.0)[0]
    assert 0 < abs(before - after) < 0.2


@pytest.mark.parametrize("year", [2019.9, 2030.0])
def test_dates_outside_the_models_are_refused(year: float) -> None:
    """Before 2020 and from 2030 there is no answer."""
    with pytest.raises(ValueError, match="outside the World Magnetic Models"):
        declination(latitude_deg=50, longitude_deg=10, year=year)


def test_no_compass_at_the_magnetic_pole() -> None:
    """Where the horizontal field is too weak the place is refused."""
    with pytest.raises(ValueError, match="magnetic pole"):
        declination(latitude_deg=86.0, longitude_deg=140.0, year=2026.0)


def test_height_hardly_matters() -> None:
    """A thousand metres of height change the declination of a place in the Alps by less than 0.02 degrees."""
    low = declination(latitude_deg=46, longitude_deg=10, year=2026.0)[0]
    high = declination(latitude_deg=46, longitude_deg=10, year=2026.0, height_m=1000)[0]
    assert 0 < abs(high - low) < 0.02


def test_grid_angle_is_declination_less_convergence() -> None:
    """East of the central meridian grid north lies east of true north, so magnetic north comes nearer to it."""
    north = magnetic_north(650_000, 5_320_000, crs=UTM32, date=SPRING)
    assert north.convergence_deg > 1
    assert north.grid_deg == pytest.approx(north.declination_deg - north.convergence_deg)


def test_geographic_crs_is_refused() -> None:
    """Degrees are no place on a sheet."""
    with pytest.raises(ValueError, match="not a projected"):
        magnetic_north(10, 50, crs="EPSG:4326", date=SPRING)


def test_technical_lines_run_to_magnetic_north_every_300_m() -> None:
    """Lines run from south to north at the angle to the grid, 300 m apart on the ground, inside the area."""
    north = north_of_area(AREA, crs=UTM32, date=SPRING)
    table = technical_lines(AREA, crs=UTM32, map_date=SPRING)
    lines = list(table.geometry[table.symbol == NORTH_LINE])
    assert len(lines) in (4, 5)
    for line in lines:
        (e0, n0), (e1, n1) = line.coords
        assert n1 > n0
        assert math.degrees(math.atan2(e1 - e0, n1 - n0)) == pytest.approx(north.grid_deg, abs=1e-6)
        assert AREA.buffer(0.001).contains(line)
    across = np.array([math.cos(math.radians(north.grid_deg)), -math.sin(math.radians(north.grid_deg))])
    places = np.array([np.array(line.coords[0]) @ across for line in lines])
    assert np.diff(places) / north.scale_factor == pytest.approx([300.0] * (len(lines) - 1), abs=1e-3)


def test_sheet_edge_is_the_outline_with_its_holes() -> None:
    """The edge of a mapped area with a hole is two rings."""
    holed = AREA.difference(box(650_400, 5_320_400, 650_600, 5_320_600))
    table = technical_lines(holed, crs=UTM32, map_date=SPRING)
    edges = table.geometry[table.symbol == SHEET_EDGE]
    assert len(edges) == 2
    assert edges.length.sum() == pytest.approx(holed.length)


def test_narrow_area_gets_one_line() -> None:
    """An area between two lines gets one through its middle."""
    assert len(north_lines(box(10, 0, 60, 500), north_deg=0, spacing_m=300)) == 1


@settings(deadline=None, max_examples=25)
@given(
    north_deg=st.floats(-25, 25),
    east=st.floats(3e5, 7e5),
    north=st.floats(0, 9e6),
    grow=st.floats(1, 900),
)
def test_larger_outline_keeps_its_lines(north_deg: float, east: float, north: float, grow: float) -> None:
    """Lines do not move when the outline of the area grows."""
    small = box(east, north, east + 1000, north + 800)
    lines = north_lines(small, north_deg=north_deg, spacing_m=300)
    larger = north_lines(small.buffer(grow, join_style="mitre"), north_deg=north_deg, spacing_m=300)
    union = shapely.buffer(shapely.union_all(larger), 0.01)
    assert np.all(shapely.covers(union, np.array(lines, object)))
