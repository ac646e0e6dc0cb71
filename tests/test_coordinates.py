"""Coordinate systems and units of tiles, and the working CRS chosen for them."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest

from pipeline.errors import SurveyError
from pipeline.intake.coordinates import (
    INTERNATIONAL_FOOT_M,
    US_SURVEY_FOOT_M,
    Placement,
    TileCrs,
    bounds_in_working,
    choose_working_crs,
    crs_from_geotiff_keys,
    crs_from_wkt,
    placement_of,
    to_working,
    unit_in_words,
)
from pipeline.lattice.grid import Bounds
from pipeline.settings import SurveySettings

SETTINGS = SurveySettings()
UTM_BOUNDS = (412_500.0, 6_051_300.0, 412_800.0, 6_051_600.0)
NEW_MEXICO_FEET = (1_639_600.0, 1_454_500.0, 1_639_800.0, 1_454_700.0)


def said_by(crs: str) -> TileCrs:
    """What a tile says whose WKT is that of a CRS."""
    return crs_from_wkt(pyproj.CRS.from_user_input(crs).to_wkt())


# ---------------------------------------------------------------- what a tile says


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


# ---------------------------------------------------------------- the working CRS


def choose(crs: str | TileCrs, bounds: Bounds, /, **given: str) -> tuple[str, float, tuple[str, ...]]:
    """Working CRS, metres per unit of height, and cautions for one tile."""
    said = said_by(crs) if isinstance(crs, str) else crs
    settings = SurveySettings(reproject_geographic=True)
    working = choose_working_crs(
        {"a.laz": (said, bounds)},
        given_crs=given.get("crs"),
        given_height_unit=given.get("height_unit"),
        settings=settings,
    )
    return working.crs, placement_of(said, working).height_unit_m, working.cautions


def test_a_metric_crs_stays() -> None:
    """Nothing is reprojected without need."""
    assert choose("EPSG:25832", UTM_BOUNDS) == ("EPSG:25832", 1.0, ())


@pytest.mark.parametrize(
    ("crs", "bounds", "working"),
    [
        ("EPSG:2903", NEW_MEXICO_FEET, "EPSG:3743"),  # NAD83(HARN) / UTM zone 13N
        ("EPSG:2276", (2_490_000.0, 6_980_000.0, 2_495_000.0, 6_985_000.0), "EPSG:26914"),  # Dallas, NAD83 / UTM 14N
        ("EPSG:4326", (11.5, 48.1, 11.51, 48.11), "EPSG:32632"),  # Munich
        ("EPSG:4326", (151.2, -33.9, 151.21, -33.89), "EPSG:32756"),  # Sydney
        ("EPSG:4258", (11.5, 48.1, 11.51, 48.11), "EPSG:25832"),  # Munich on ETRS89
        ("EPSG:3857", (1_280_000.0, 6_130_000.0, 1_281_000.0, 6_131_000.0), "EPSG:32632"),  # a web map of Munich
    ],
)
def test_feet_degrees_and_web_maps_go_to_utm_on_the_same_datum(crs: str, bounds: Bounds, working: str) -> None:
    """The zone of the middle of the tiles, on the tiles' own datum where EPSG has such a zone."""
    assert choose(crs, bounds)[0] == working


def test_national_grids_are_not_taken_for_stretched() -> None:
    """Lambert-93 in Corsica, one of the worst places of any national grid (scale error 0.3 %), stays."""
    assert choose("EPSG:2154", (1_223_000.0, 6_080_000.0, 1_224_000.0, 6_081_000.0))[0] == "EPSG:2154"


def test_degrees_are_refused_where_not_wanted() -> None:
    """With the setting off a geographic CRS is an error with a way out."""
    tiles = {"a.laz": (said_by("EPSG:4326"), (11.5, 48.1, 11.51, 48.11))}
    with pytest.raises(SurveyError, match=r"a\.laz: the tiles are in degrees .* 'crs:'"):
        choose_working_crs(tiles, settings=SurveySettings(reproject_geographic=False))


def test_heights_follow_file_then_plan_and_the_area_file_over_all() -> None:
    """Feet of plan carry over to heights only where nothing says otherwise."""
    assert choose("EPSG:2903+5703", NEW_MEXICO_FEET)[1] == 1.0
    assert choose("EPSG:2903", NEW_MEXICO_FEET)[1] == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)
    assert choose("EPSG:2903+5703", NEW_MEXICO_FEET, height_unit="foot")[1] == INTERNATIONAL_FOOT_M
    assert choose("EPSG:4326", (11.5, 48.1, 11.51, 48.11))[1] == 1.0


def test_a_given_crs_replaces_missing_and_wrong_ones() -> None:
    """The area file has the last word."""
    assert choose(TileCrs(), UTM_BOUNDS, crs="EPSG:25832")[0] == "EPSG:25832"
    assert choose("EPSG:4326", UTM_BOUNDS, crs="EPSG:25832")[0] == "EPSG:25832"


def test_a_missing_crs_is_named_with_the_way_out() -> None:
    """Only the tiles without one are named."""
    tiles = {"good.laz": (said_by("EPSG:25832"), UTM_BOUNDS), "bare.laz": (TileCrs(), UTM_BOUNDS)}
    with pytest.raises(SurveyError, match=r"^bare\.laz: it has no coordinate system.*'crs: EPSG:25832'"):
        choose_working_crs(tiles, settings=SETTINGS)


def test_two_crss_are_named_with_their_files() -> None:
    """Which file has which is what the mapper needs to know."""
    tiles = {
        "a.laz": (said_by("EPSG:25832"), UTM_BOUNDS),
        "b.laz": (said_by("EPSG:25833"), UTM_BOUNDS),
        "c.laz": (said_by("EPSG:25832"), UTM_BOUNDS),
    }
    with pytest.raises(SurveyError, match=r"zone 32N: a\.laz, c\.laz; .*zone 33N: b\.laz"):
        choose_working_crs(tiles, settings=SETTINGS)


def test_two_spellings_of_one_crs_are_one() -> None:
    """The same system in WKT 1, in WKT 2 and as a code does not make two."""
    crs = pyproj.CRS.from_epsg(25832)
    said = [crs_from_wkt(crs.to_wkt(kind)) for kind in ("WKT1_GDAL", "WKT2_2019")]
    said.append(crs_from_geotiff_keys({3072: 25832}))
    tiles = {f"{n}.laz": (one, UTM_BOUNDS) for n, one in enumerate(said)}
    assert choose_working_crs(tiles, settings=SETTINGS).crs == "EPSG:25832"


def test_heights_in_two_units_are_each_taken_at_their_word() -> None:
    """Plans agree, heights do not: each tile is scaled by its own unit."""
    metres, feet = said_by("EPSG:26913+5703"), said_by("EPSG:26913+6360")
    bounds = (385_000.0, 3_873_000.0, 386_000.0, 3_874_000.0)
    working = choose_working_crs({"a.laz": (metres, bounds), "b.laz": (feet, bounds)}, settings=SETTINGS)
    assert placement_of(metres, working).height_unit_m == 1.0
    assert placement_of(feet, working).height_unit_m == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)


# ---------------------------------------------------------------- coordinates that cannot be


@pytest.mark.parametrize(
    ("crs", "bounds", "words"),
    [
        ("EPSG:4326", UTM_BOUNDS, "no degrees"),
        ("EPSG:4326", (48.1, 111.5, 48.2, 111.6), "swapped"),
        ("EPSG:4326", (39.0126, -83.4276, 39.0127, -83.4275), "probably swapped"),
        ("EPSG:25832", (11.5, 48.1, 11.51, 48.11), "look like degrees"),
        ("EPSG:25832", (6_051_300.0, 412_500.0, 6_051_600.0, 412_800.0), "axes are swapped"),
        ("EPSG:25832", (1e12, 1e12, 1e12 + 100, 1e12 + 100), "lie outside"),
    ],
)
def test_coordinates_that_do_not_fit_are_refused(crs: str, bounds: Bounds, words: str) -> None:
    """Degrees as metres, metres as degrees, and axes the wrong way round where that can be told."""
    with pytest.raises(SurveyError, match=words):
        choose(crs, bounds)


def test_coordinates_from_elsewhere_are_cautioned() -> None:
    """Numbers that are possible but not at home in the CRS, such as local ones, are worth a word."""
    assert "outside the area" in choose("EPSG:3301", (0.0, 0.0, 150.0, 149.99))[2][0]
    assert choose("EPSG:3301", (650_000.0, 6_500_000.0, 651_000.0, 6_501_000.0))[2] == ()


# ---------------------------------------------------------------- into the working CRS


def test_metres_in_the_working_crs_pass_unchanged() -> None:
    """To the last bit, so that blocks of different tiles meet exactly."""
    x = np.array([412_500.123456789])
    east, north, height = to_working(x, x + 1, x + 2, Placement("EPSG:25832", "EPSG:25832", 1.0))
    assert (east[0], north[0], height[0]) == (x[0], x[0] + 1, x[0] + 2)


def test_degrees_come_out_where_the_standard_says() -> None:
    """UTM forward: on the central meridian east is 500 000 m, and north the meridian arc times 0.9996.

    The arc from the equator to 45 degrees on WGS 84 is 4 984 944.378 m (Snyder 1987, USGS PP 1395, equation 3-21).
    """
    here = np.array([9.0]), np.array([45.0]), np.array([100.0])
    east, north, height = to_working(*here, Placement("EPSG:4326", "EPSG:32632", 1.0))
    assert east[0] == pytest.approx(500_000.0, abs=1e-6)
    assert north[0] == pytest.approx(0.9996 * 4_984_944.378, abs=2e-3)
    assert height[0] == 100.0


def test_bounds_hold_all_points_after_reprojection() -> None:
    """Every point of a tile in feet falls in the tile's metric bounds."""
    placement = Placement("EPSG:2903", "EPSG:3743", US_SURVEY_FOOT_M)
    rng = np.random.default_rng(3)
    west, south, east, north = NEW_MEXICO_FEET
    x, y = rng.uniform(west, east, 1000), rng.uniform(south, north, 1000)
    place = to_working(x, y, x * 0, placement)
    bounds = bounds_in_working(NEW_MEXICO_FEET, placement)
    assert (place[0] >= bounds[0] - 1e-3).all()
    assert (place[0] <= bounds[2] + 1e-3).all()
    assert (place[1] >= bounds[1] - 1e-3).all()
    assert (place[1] <= bounds[3] + 1e-3).all()


def test_a_foot_with_the_factor_of_a_metre_is_a_foot() -> None:
    """Some software writes vertical units by name only, with the factor 1."""
    sound = pyproj.CRS.from_user_input("EPSG:2903+6360").to_wkt("WKT1_GDAL")
    careless = sound.replace('UNIT["US survey foot",0.304800609601219,AUTHORITY["EPSG","9003"]],AXIS["Gravity', "@")
    assert careless.count("@") == 1
    said = crs_from_wkt(careless.replace("@", 'UNIT["US survey foot",1.0],AXIS["Gravity'))
    assert said.height_unit_m == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)
