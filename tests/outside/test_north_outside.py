"""Magnetic north against the model's published test values, and convergence against the projection's own series."""

import datetime
import math

import pyproj
import pytest
from pygeomag import GeoMag
from pygeomag.wmm.wmm_2025 import WMM_2025

from pipeline.sheet.page.north import declination, magnetic_north

# Year, height (km), latitude, longitude, horizontal field (nT), declination (degrees).
# Source: NOAA/NCEI & British Geological Survey, WMM2025 test values (table for the report).
PUBLISHED = (
    (2025.0, 0.0, 80.0, 0.0, 6523.2, 1.28),
    (2025.0, 0.0, 0.0, 120.0, 39677.9, -0.16),
    (2025.0, 0.0, -80.0, 240.0, 16898.1, 68.78),
    (2025.0, 100.0, 80.0, 0.0, 6216.7, 0.85),
    (2025.0, 100.0, 0.0, 120.0, 37688.7, -0.15),
    (2025.0, 100.0, -80.0, 240.0, 15917.1, 68.21),
    (2027.5, 0.0, 80.0, 0.0, 6507.5, 2.59),
    (2027.5, 0.0, 0.0, 120.0, 39702.0, -0.24),
    (2027.5, 0.0, -80.0, 240.0, 16908.3, 68.49),
    (2027.5, 100.0, 80.0, 0.0, 6201.1, 2.16),
    (2027.5, 100.0, 0.0, 120.0, 37711.8, -0.23),
    (2027.5, 100.0, -80.0, 240.0, 15927.0, 67.93),
)


@pytest.mark.parametrize(("year", "height_km", "latitude", "longitude", "horizontal_nt", "published_deg"), PUBLISHED)
def test_declination_is_the_published_one(
    year: float, height_km: float, latitude: float, longitude: float, horizontal_nt: float, published_deg: float
) -> None:
    """Declination to the published hundredth, standard error by the model's formula from the published field."""
    found_deg, error_deg, model = declination(
        latitude_deg=latitude, longitude_deg=longitude, year=year, height_m=height_km * 1000
    )
    assert model == "WMM2025"
    assert found_deg == pytest.approx(published_deg, abs=0.0051)
    assert error_deg == pytest.approx(math.sqrt(0.26**2 + (5417 / horizontal_nt) ** 2), rel=1e-4)


@pytest.mark.parametrize(
    ("latitude", "longitude", "published_deg"), [(80.0, 0.0, -1.28), (0.0, 120.0, 0.16), (-80.0, 240.0, 69.36)]
)
def test_declination_of_the_model_before(latitude: float, longitude: float, published_deg: float) -> None:
    """Maps dated 2020 to 2024 get WMM2020.

    Source: NOAA/NCEI & British Geological Survey, WMM2020 test values at 2020.0 and sea level; from memory.
    """
    found_deg, _, model = declination(latitude_deg=latitude, longitude_deg=longitude, year=2020.0)
    assert model == "WMM2020"
    assert found_deg == pytest.approx(published_deg, abs=0.0051)


def test_the_published_values_tell_models_apart() -> None:
    """Negative control: the model of 2025 asked for the wrong year misses the published value."""
    wrong = GeoMag(coefficients_data=WMM_2025).calculate(glat=80, glon=0, alt=0, time=2026.0).d
    assert abs(wrong - PUBLISHED[0][5]) > 0.4


@pytest.mark.parametrize(
    ("crs", "central_meridian", "longitude", "latitude"),
    [
        ("EPSG:25832", 9.0, 11.0, 48.0),
        ("EPSG:25832", 9.0, 7.2, 61.0),
        ("EPSG:32733", 15.0, 17.0, -30.0),
        ("EPSG:2056", 7.439583, 9.5, 46.9),
    ],
)
def test_convergence(crs: str, central_meridian: float, longitude: float, latitude: float) -> None:
    """Convergence of transverse Mercator: atan(tan(longitude from the meridian) sin(latitude)).

    Source: Snyder (1987), Map Projections: A Working Manual, USGS Professional Paper 1395, p. 51 (sphere; the
    ellipsoid differs by less than 0.01 degrees within 2 degrees of the meridian). The Swiss oblique projection is
    checked against the direction of the meridian itself.
    """
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    east, north = to_grid.transform(longitude, latitude)
    found = magnetic_north(east, north, crs=crs, date=datetime.date(2027, 4, 10))
    if crs != "EPSG:2056":
        away = math.radians(longitude - central_meridian)
        series = math.degrees(math.atan(math.tan(away) * math.sin(math.radians(latitude))))
        assert found.convergence_deg == pytest.approx(series, abs=0.01)
    east_up, north_up = to_grid.transform(longitude, latitude + 1e-4)
    meridian = math.degrees(math.atan2(east_up - east, north_up - north))
    assert found.convergence_deg == pytest.approx(-meridian, abs=0.01)


def test_scale_factor_is_that_of_the_ellipsoid() -> None:
    """A kilometre of the ellipsoid (pyproj's geodesic) is a kilometre times the factor in the grid."""
    crs = "EPSG:3857"
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    east, north = to_grid.transform(11.0, 60.0)
    found = magnetic_north(east, north, crs=crs, date=datetime.date(2027, 4, 10))
    longitude, latitude, _ = pyproj.Geod(ellps="WGS84").fwd(11.0, 60.0, 90.0, 1000.0)
    east_far, north_far = to_grid.transform(longitude, latitude)
    assert math.hypot(east_far - east, north_far - north) / 1000 == pytest.approx(found.scale_factor, rel=3e-3)
