"""The area file: what is taken and how a mistake is explained."""

from pathlib import Path

import pytest

from pipeline.errors import SettingsError
from pipeline.settings import load_area, section_text

GOOD = "name: Hollin Edge\ntiles: lidar/*.laz\nmap_date: 2027-04-10\n"


def written(folder: Path, text: str) -> Path:
    """An area file with this text."""
    path = folder / "area.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_short_file_takes_the_defaults(tmp_path: Path) -> None:
    """Three lines are enough; scale and interval are those of common practice (1:10 000, 5 m)."""
    area = load_area(written(tmp_path, GOOD))
    assert (area.scale, area.contour_interval_m, area.tiles, area.out) == (10000, 5.0, ("lidar/*.laz",), "out")


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("contour_intervall_m: 5", ["line 4", "contour_intervall_m", "did you mean 'contour_interval_m'"]),
        ("contour_interval: 5", ["line 4", "did you mean 'contour_interval_m'", "Allowed here: name, tiles"]),
        ("contour_interval_m: 3", ["line 4", "contour_interval_m", "5 or 2.5"]),
        ("scale: 12000", ["line 4", "scale", "15000, 10000, 7500 or 5000", "12000"]),
        ("crs: EPSG:99999999", ["line 4", "crs", "EPSG:25832"]),
        (
            "expert: {flow: {block_km: 1}}",
            ["line 4", "expert.flow.block_km", "did you mean 'block_m'", "block_max_returns"],
        ),
        (
            "expert: {rock: {cliff_exces_m: 2}}",
            ["line 4", "did you mean 'cliff_excess_m'", "Allowed here: least_boulder_confidence"],
        ),
        (
            "expert: {landform: {knoll_radii_m: 5}}",
            ["'expert.landform.knoll_radii_m' is not a setting", "min_knoll_likeness"],
        ),
        ("expert: {water: {cliff_excess_m: 2}}", ["did you mean 'expert.rock.cliff_excess_m'"]),
        ("open_radus_m: 4", ["line 4", "did you mean 'expert.vegetation.open_radius_m'"]),
        ("expert: {rokc: {}}", ["line 4", "did you mean 'rock'", "flow, survey, points"]),
        (
            "expert: {rock: 5}",
            ["line 4", "'expert.rock' should hold settings", "Allowed here: least_boulder_confidence"],
        ),
        ("expert: {flow: {block_m: -5}}", ["line 4", "expert.flow.block_m", "greater than or equal to"]),
        ("expert: {drawing: {drawn_from: 2}}", ["line 4", "drawn_from", "less than or equal to 1"]),
        ("expert: {drawing: {drawn_from_by_symbol: {'999': 0.6}}}", ["'999' is not a symbol of ISOM 2017-2"]),
        ("expert: {drawing: {drawn_from_by_symbol: {'204': 6}}}", ["'204': a confidence lies between 0 and 1", "6"]),
        (
            "expert: {drawing: {drawn_from_by_symbol: {204: 0.6}}}",
            ["line 4", "'expert.drawing.drawn_from_by_symbol.204'"],
        ),
        ("crs_overrides: maybe", ["should be true or false (you wrote maybe)"]),
        (
            "expert: {survey: {leaves_out_days_of_year: [400, 120]}}",
            ["leaves_out_days_of_year", "less than or equal to 200"],
        ),
    ],
)
def test_a_mistake_is_refused_with_its_line_and_what_is_allowed(tmp_path: Path, line: str, expected: list[str]) -> None:
    """Each wrong line is named with its number and a way out."""
    path = written(tmp_path, GOOD + line + "\n")
    with pytest.raises(SettingsError) as caught:
        load_area(path)
    message = str(caught.value)
    assert str(path) in message
    assert all(part in message for part in expected), message


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    """A mapper corrects a file once, not once a mistake."""
    with pytest.raises(SettingsError) as caught:
        load_area(written(tmp_path, "nmae: x\ntiles: []\nscale: 1\n"))
    assert all(word in str(caught.value) for word in ("nmae", "'name' is missing", "'map_date' is missing", "scale"))


@pytest.mark.parametrize("text", ["", "just words", "name: [unclosed", "- a\n- list\n"])
def test_what_is_no_area_file_is_refused(tmp_path: Path, text: str) -> None:
    """Empty files, broken YAML and lists are answered in words."""
    with pytest.raises(SettingsError, match=r"area\.yaml"):
        load_area(written(tmp_path, text))


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    """A wrong path is answered in words."""
    with pytest.raises(SettingsError, match="no such area file"):
        load_area(tmp_path / "nowhere.yaml")


def test_a_date_outside_the_magnetic_model_is_refused(tmp_path: Path) -> None:
    """World Magnetic Model 2025 ends with 2029 (NOAA/NCEI and British Geological Survey)."""
    with pytest.raises(SettingsError, match="World Magnetic Model"):
        load_area(written(tmp_path, GOOD.replace("2027", "2031")))


def test_a_section_is_plain_text_that_changes_with_its_settings(tmp_path: Path) -> None:
    """What Snakemake keeps track of is equal for equal settings and differs for different ones."""
    plain = load_area(written(tmp_path, GOOD))
    spelled_out = load_area(written(tmp_path, GOOD + "expert: {flow: {block_max_returns: 8000000}}\n"))
    other = load_area(written(tmp_path, GOOD + "expert: {flow: {block_max_returns: 3000000}}\n"))
    assert section_text(plain.expert.flow) == section_text(spelled_out.expert.flow)
    assert section_text(plain.expert.flow) != section_text(other.expert.flow)


def test_nothing_is_guessed_where_nothing_is_near(tmp_path: Path) -> None:
    """A name like no setting at all gets the list and no hint."""
    with pytest.raises(SettingsError) as caught:
        load_area(written(tmp_path, GOOD + "expert: {water: {quux: 1}}\n"))
    assert "did you mean" not in str(caught.value)
    assert "Allowed here: thin_max_ratio" in str(caught.value)
