"""The working CRS chosen for tiles, and coordinates that cannot be."""

from __future__ import annotations

import pyproj
import pytest

from pipeline.errors import SurveyError
from pipeline.intake.placement import placement_of
from pipeline.intake.tile_crs import TileCrs, crs_from_geotiff_keys, crs_from_wkt
from pipeline.intake.units import INTERNATIONAL_FOOT_M, US_SURVEY_FOOT_M
from pipeline.intake.working_crs import choose_working_crs
from pipeline.lattice.grid import Bounds

UTM_BOUNDS = (412_500.0, 6_051_300.0, 412_800.0, 6_051_600.0)

NEW_MEXICO_FEET = (1_639_600.0, 1_454_500.0, 1_639_800.0, 1_454_700.0)


def said_by(crs: str) -> TileCrs:
    """What a tile says whose WKT is that of a CRS."""
    return crs_from_wkt(pyproj.CRS.from_user_input(crs).to_wkt())


def choose(crs: str | TileCrs, bounds: Bounds, /, **given: str) -> tuple[str, float, tuple[str, ...]]:
    """Working CRS, metres per unit of height, and cautions for one tile."""
    said = said_by(crs) if isinstance(crs, str) else crs
    working = choose_working_crs(
        {"a.laz": (said, bounds)},
        given_crs=given.get("crs"),
        given_height_unit=given.get("height_unit"),
        crs_overrides="overrides" in given,
        height_unit_overrides="unit_overrides" in given,
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


def test_heights_follow_the_tile_then_the_area_file_then_the_plan() -> None:
    """Feet of plan carry over to heights only where nothing says otherwise."""
    assert choose("EPSG:2903+5703", NEW_MEXICO_FEET)[1] == 1.0
    assert choose("EPSG:2903", NEW_MEXICO_FEET)[1] == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)
    assert choose("EPSG:2903", NEW_MEXICO_FEET, height_unit="foot")[1] == INTERNATIONAL_FOOT_M
    assert choose("EPSG:4326", (11.5, 48.1, 11.51, 48.11))[1] == 1.0


def test_a_given_unit_of_heights_that_contradicts_the_tiles_is_refused() -> None:
    """Both are named, with the tile and the two ways out: heights in feet taken for metres triple every hill."""
    with pytest.raises(SurveyError) as caught:
        choose("EPSG:2903+5703", NEW_MEXICO_FEET, height_unit="foot")
    message = str(caught.value)
    for part in (
        "height_unit: foot",
        "international feet",
        "metres: a.laz",
        "Remove the line",
        "height_unit_overrides: true",
    ):
        assert part in message
    given = {"height_unit": "foot", "unit_overrides": "yes"}
    assert choose("EPSG:2903+5703", NEW_MEXICO_FEET, **given)[1] == INTERNATIONAL_FOOT_M


def test_the_two_feet_are_told_apart() -> None:
    """They differ by 2 in a million, 3 mm at 1500 m: a contradiction all the same, and the same foot is none."""
    assert choose("EPSG:2903+6360", NEW_MEXICO_FEET, height_unit="us_survey_foot")[1] == US_SURVEY_FOOT_M
    with pytest.raises(SurveyError, match=r"US survey feet: a\.laz"):
        choose("EPSG:2903+6360", NEW_MEXICO_FEET, height_unit="foot")


def test_only_tiles_that_contradict_the_unit_of_heights_are_named() -> None:
    """Tiles that say nothing of their heights take the given unit, and one that says the same is no contradiction."""
    tiles = {
        "bare.laz": (said_by("EPSG:26913"), (385_000.0, 3_873_000.0, 386_000.0, 3_874_000.0)),
        "metre.laz": (said_by("EPSG:26913+5703"), (385_000.0, 3_873_000.0, 386_000.0, 3_874_000.0)),
        "feet.laz": (said_by("EPSG:26913+6360"), (385_000.0, 3_873_000.0, 386_000.0, 3_874_000.0)),
    }
    with pytest.raises(SurveyError, match=r"\(US survey feet: feet\.laz\)"):
        choose_working_crs(tiles, given_height_unit="metre")
    del tiles["feet.laz"]
    assert choose_working_crs(tiles, given_height_unit="metre").given_height_unit_m == 1.0


def test_a_given_crs_serves_tiles_that_say_none() -> None:
    """The area file fills in what is missing; a tile that says the same is no contradiction, however it spells it."""
    assert choose(TileCrs(), UTM_BOUNDS, crs="EPSG:25832")[0] == "EPSG:25832"
    assert choose("EPSG:25832", UTM_BOUNDS, crs="EPSG:25832")[0] == "EPSG:25832"
    spelt = crs_from_wkt(pyproj.CRS.from_epsg(25832).to_wkt("WKT1_GDAL"))
    assert choose(spelt, UTM_BOUNDS, crs="EPSG:25832+7837")[0] == "EPSG:25832"


def test_a_given_crs_that_contradicts_the_tiles_is_refused() -> None:
    """Both are named, with the tile and the two ways out; the neighbouring zone would put the map a country away."""
    with pytest.raises(SurveyError) as caught:
        choose("EPSG:25832", UTM_BOUNDS, crs="EPSG:25833")
    message = str(caught.value)
    for part in ("crs: EPSG:25833", "zone 33N", "zone 32N", "a.laz", "crs_overrides: true", "Remove the line"):
        assert part in message


def test_one_contradicting_tile_among_others_is_named() -> None:
    """Tiles that say nothing, or the same, are not named."""
    tiles = {
        "good.laz": (said_by("EPSG:25832"), UTM_BOUNDS),
        "bare.laz": (TileCrs(), UTM_BOUNDS),
        "odd.laz": (said_by("EPSG:25833"), UTM_BOUNDS),
    }
    with pytest.raises(SurveyError, match=r"zone 33N: odd\.laz\)"):
        choose_working_crs(tiles, given_crs="EPSG:25832")
    assert choose_working_crs(tiles, given_crs="EPSG:25832", crs_overrides=True).crs == "EPSG:25832"


def test_a_given_crs_overrides_where_the_mapper_says_so() -> None:
    """Tiles that say degrees or another zone, and are known to be wrong."""
    assert choose("EPSG:4326", UTM_BOUNDS, crs="EPSG:25832", overrides="yes")[0] == "EPSG:25832"
    assert choose("EPSG:25833", UTM_BOUNDS, crs="EPSG:25832", overrides="yes")[0] == "EPSG:25832"


def test_a_missing_crs_is_named_with_the_way_out() -> None:
    """Only the tiles without one are named."""
    tiles = {"good.laz": (said_by("EPSG:25832"), UTM_BOUNDS), "bare.laz": (TileCrs(), UTM_BOUNDS)}
    with pytest.raises(SurveyError, match=r"^bare\.laz: it has no coordinate system.*'crs: EPSG:25832'"):
        choose_working_crs(tiles)


def test_two_crss_are_named_with_their_files() -> None:
    """Which file has which is what the mapper needs to know."""
    tiles = {
        "a.laz": (said_by("EPSG:25832"), UTM_BOUNDS),
        "b.laz": (said_by("EPSG:25833"), UTM_BOUNDS),
        "c.laz": (said_by("EPSG:25832"), UTM_BOUNDS),
    }
    with pytest.raises(SurveyError, match=r"zone 32N: a\.laz, c\.laz; .*zone 33N: b\.laz"):
        choose_working_crs(tiles)


def test_two_spellings_of_one_crs_are_one() -> None:
    """The same system in WKT 1, in WKT 2 and as a code does not make two."""
    crs = pyproj.CRS.from_epsg(25832)
    said = [crs_from_wkt(crs.to_wkt(kind)) for kind in ("WKT1_GDAL", "WKT2_2019")]
    said.append(crs_from_geotiff_keys({3072: 25832}))
    tiles = {f"{n}.laz": (one, UTM_BOUNDS) for n, one in enumerate(said)}
    assert choose_working_crs(tiles).crs == "EPSG:25832"


def test_heights_in_two_units_are_each_taken_at_their_word() -> None:
    """Plans agree, heights do not: each tile is scaled by its own unit."""
    metres, feet = said_by("EPSG:26913+5703"), said_by("EPSG:26913+6360")
    bounds = (385_000.0, 3_873_000.0, 386_000.0, 3_874_000.0)
    working = choose_working_crs({"a.laz": (metres, bounds), "b.laz": (feet, bounds)})
    assert placement_of(metres, working).height_unit_m == 1.0
    assert placement_of(feet, working).height_unit_m == pytest.approx(US_SURVEY_FOOT_M, rel=1e-12)


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
