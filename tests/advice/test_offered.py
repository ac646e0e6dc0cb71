"""The text of an area file that is offered: always one that loads, whatever the folder and the tiles are called."""

import datetime
from pathlib import Path

import pytest

from pipeline.advice.offered import FLAT_BELOW_RATIO, Found, area_text, interval_for, papers_among
from pipeline.settings import Area, load_area

TODAY = datetime.date(2027, 4, 10)


def loaded(folder: Path, found: Found, today: datetime.date = TODAY) -> Area:
    """The area that the offered text says."""
    path = folder / "area.yaml"
    path.write_text(area_text(found, today=today), encoding="utf-8")
    return load_area(path)


@pytest.mark.parametrize(
    "name", ["hollin_edge", "42", "no", "a: b", "#1", "", "Åkersjön 'nya'", '"quoted"', "{x}", "- x", "a\tb", "長野"]
)
def test_any_folder_name_gives_a_name(tmp_path: Path, name: str) -> None:
    """Names that YAML reads as numbers, truth or lists are quoted; none is empty."""
    assert loaded(tmp_path, Found(name, (".",))).name.strip()


@pytest.mark.parametrize("pattern", ["*.laz", "**/*", "lidar/*.laz", "[ab].laz", "a b.laz", "it's.laz", "#.laz", "&a"])
def test_patterns_are_kept_letter_by_letter(tmp_path: Path, pattern: str) -> None:
    """One or several."""
    assert loaded(tmp_path, Found("x", (pattern,))).tiles == (pattern,)
    assert loaded(tmp_path, Found("x", (pattern, "b.laz"))).tiles == (pattern, "b.laz")


def test_headers_cannot_write_settings(tmp_path: Path) -> None:
    """What a tile or a file name says stays within its comment."""
    found = Found(
        "x", (".",), crs_name="a\u2028b\nname: y", made_by=("evil\nscale: 5000",), papers=("README\nout: elsewhere",)
    )
    area = loaded(tmp_path, found)
    assert (area.name, area.scale, area.out) == ("X", 10000, "out")


@pytest.mark.parametrize(
    ("slope", "interval_m"), [(0.0, 2.5), (0.03, 2.5), (FLAT_BELOW_RATIO, 5.0), (0.3, 5.0), (None, 5.0)]
)
def test_the_interval_follows_the_relief(tmp_path: Path, slope: float | None, interval_m: float) -> None:
    """2.5 m only on flat ground (ISOM 2017-2, 101), 5 m where it is not known."""
    assert interval_for(slope)[0] == interval_m
    assert loaded(tmp_path, Found("x", (".",), usual_slope=slope)).contour_interval_m == interval_m


def test_a_day_beyond_the_magnetic_model_gives_its_last(tmp_path: Path) -> None:
    """Else the area file would be refused on the day after."""
    assert loaded(tmp_path, Found("x", (".",)), datetime.date(2031, 1, 1)).map_date == datetime.date(2029, 12, 31)


def test_papers_are_told_by_their_names() -> None:
    """Licences, read-me files and metadata; no tiles."""
    names = ["Licence.pdf", "a.laz", "tile_metadata.xml", "readme.md", "notes.txt"]
    assert papers_among(names) == ("Licence.pdf", "readme.md", "tile_metadata.xml")
