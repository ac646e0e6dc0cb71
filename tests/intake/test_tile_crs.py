"""What a tile says of its coordinate system and its units."""

from __future__ import annotations

import pyproj
import pytest

from pipeline.intake.tile_crs import TileCrs, crs_from_geotiff_keys, crs_from_wkt
from pipeline.intake.units import INTERNATIONAL_FOOT_M, US_SURVEY_FOOT_M, unit_in_words


def said_by(crs: str) -> TileCrs:
    """What a tile says whose WKT is that of a CRS."""
    return crs_from_wkt(pyproj.CRS.from_user_input(crs).to_wkt())


@pytest.mark.parametrize(
    ("crs", "plan_unit_m", "height_unit_m"),
    [
        ("EPSG:25832", 1.0, None),
        ("EPSG:25832+7837", 1.0, 1.0),  # DHHN2016 heights
        ("EPSG:2903", US_SURVEY_FOOT_M, None),  # New Mexico Central, US survey feet
        ("EPSG:2903+6360", US_SURVEY_FOOT_M, US_SURVEY_FOOT_M),  # NAVD88 in US survey feet
        ("EPSG:2903+5703", US_SURVEY_FOOT_M, 1.0),  # the same plan, NAVD88 in metres
        ("EPSG:26913+8228", 1.0, INTERNATIONAL_FOOT_M),  # UTM with NAVD88 in international feet
        ("EPSG:2994", INTERNATIONAL_FOOT_M, None),  # Oregon GIC Lambert, international feet
        ("EPSG:4326", None, None),
        ("EPSG:4979", None, 1.0),  # with ellipsoidal heights
    ],
)
def test_units_of_plan_and_height_are_told_apart(
    crs: str, plan_unit_m: float | None, height_unit_m: float | None
) -> None:
    """Units as the EPSG data set gives them for each code."""
    said = said_by(crs)
    assert said.plan_unit_m == (None if plan_unit_m is None else pytest.approx(plan_unit_m, rel=1e-12))
    assert said.height_unit_m == (None if height_unit_m is None else pytest.approx(height_unit_m, rel=1e-12))
    assert said.is_geographic == (plan_unit_m is None)


def test_the_two_feet_differ_by_two_millionths() -> None:
    """Over 500 km of state plane easting they lie a metre apart, so they must not be mixed up."""
    ratio = US_SURVEY_FOOT_M / INTERNATIONAL_FOOT_M
    assert ratio - 1 == pytest.approx(2e-6, rel=0.01)
    assert unit_in_words(US_SURVEY_FOOT_M) == "US survey feet"
    assert unit_in_words(INTERNATIONAL_FOOT_M) == "international feet"
    assert unit_in_words(1.0) == "metres"
    assert unit_in_words(None) == "degrees"


def test_geotiff_keys_give_plan_and_height() -> None:
    """Keys 3072, 3076, 4096 and 4099 as an American state plane survey writes them."""
    said = crs_from_geotiff_keys({1024: 1, 3072: 2903, 3076: 9003, 4096: 6360, 4099: 9003})
    assert said.name == "NAD83(HARN) / New Mexico Central (ftUS)"
    assert said.plan_unit_m == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)
    assert said.height_name == "NAVD88 height (ftUS)"
    assert said.height_unit_m == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)


def test_the_height_unit_key_wins_over_the_vertical_crs() -> None:
    """NAVD88 (metres) with heights said to be in feet: the unit is what the writer meant."""
    assert crs_from_geotiff_keys({3072: 2903, 4096: 5703, 4099: 9003}).height_unit_m == US_SURVEY_FOOT_M


def test_contradicting_plan_units_are_cautioned() -> None:
    """A metric code with feet beside it: the code is believed, and it is said."""
    said = crs_from_geotiff_keys({3072: 26913, 3076: 9003})
    assert said.plan_unit_m == 1.0
    assert "US survey feet" in said.caution


@pytest.mark.parametrize("keys", [{}, {3072: 32767}, {3072: 0}, {1024: 1}])
def test_keys_without_a_code_give_no_crs(keys: dict[int, int]) -> None:
    """User-defined and missing codes say nothing by themselves."""
    assert crs_from_geotiff_keys(keys).plan_wkt is None


def test_what_proj_cannot_read_is_no_crs_but_a_caution() -> None:
    """Nonsense does not stop the reading of the tile."""
    assert crs_from_wkt("PROJCS[nonsense").plan_wkt is None
    assert "PROJ" in crs_from_wkt("PROJCS[nonsense").caution
    assert "EPSG:2050" in crs_from_geotiff_keys({3072: 20500}).caution


def test_a_foot_with_the_factor_of_a_metre_is_a_foot() -> None:
    """Some software writes vertical units by name only, with the factor 1."""
    sound = pyproj.CRS.from_user_input("EPSG:2903+6360").to_wkt("WKT1_GDAL")
    careless = sound.replace('UNIT["US survey foot",0.304800609601219,AUTHORITY["EPSG","9003"]],AXIS["Gravity', "@")
    assert careless.count("@") == 1
    said = crs_from_wkt(careless.replace("@", 'UNIT["US survey foot",1.0],AXIS["Gravity'))
    assert said.height_unit_m == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)
