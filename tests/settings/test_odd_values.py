"""Whatever is written into an area file, the answer is an area or words for a mapper, never a traceback."""

from __future__ import annotations

import math
import tempfile
from pathlib import Path

import pytest
import yaml
from hypothesis import example, given, settings
from hypothesis import strategies as st

from pipeline.errors import SettingsError
from pipeline.explain import sections
from pipeline.settings import Area, load_area

GOOD = {"name": "Hollin Edge", "tiles": "lidar/*.laz", "map_date": "2027-04-10"}


def answer(folder: Path, text: str) -> str:
    """What the mapper is told of an area file; "" where it is taken."""
    path = folder / "area.yaml"
    path.write_text(text, encoding="utf-8")
    try:
        load_area(path)
    except SettingsError as error:
        return str(error)
    return ""


def area_text(**lines: str) -> str:
    """A good area file with these lines instead."""
    return "".join(f"{key}: {value}\n" for key, value in (GOOD | lines).items())


@pytest.mark.parametrize(
    ("date", "said"),
    [
        ("2027-13-10", ["line 3", "2027-13-10", "no such day", "2027-04-10"]),
        ("2027-02-30", ["line 3", "no such day"]),
        ("10.04.2027", ["line 3", "10.04.2027", "year-month-day", "2027-04-10"]),
        ("31.12.2027", ["31.12.2027", "2027-12-31"]),
        ("04/10/2027", ["04/10/2027", "year-month-day"]),
        ("20270410", ["20270410", "year-month-day"]),
        ("2027-04-10 12:00", ["year-month-day"]),
        ("'10 April'", ["10 April", "year-month-day"]),
        ("2031-04-10", ["line 3", "World Magnetic Model"]),
    ],
)
def test_a_date_that_is_none_is_answered_with_one_that_is(tmp_path: Path, date: str, said: list[str]) -> None:
    """What was written, what is wanted, and an example."""
    message = answer(tmp_path, area_text(map_date=date))
    assert all(part in message for part in said), message


def test_a_month_or_day_of_one_figure_is_no_riddle(tmp_path: Path) -> None:
    """2027-4-9 can only be the ninth of April."""
    (tmp_path / "area.yaml").write_text(area_text(map_date="2027-4-9"), encoding="utf-8")
    assert str(load_area(tmp_path / "area.yaml").map_date) == "2027-04-09"


@pytest.mark.parametrize("key", ["tiles", "out", "boundary"])
@pytest.mark.parametrize("written", [r"C:\maps\area", r"'lidar\forest'", r"'C:\maps'"])
def test_backslashes_in_a_path_are_answered_with_slashes(tmp_path: Path, key: str, written: str) -> None:
    """The same path with / works on all systems; the answer spells it out."""
    message = answer(tmp_path, area_text(**{key: written}))
    assert key in message
    assert written.strip("'").replace("\\", "/") in message


def test_backslashes_in_a_list_of_tiles(tmp_path: Path) -> None:
    """Each of a list is looked at."""
    assert "b/c.laz" in answer(tmp_path, area_text(tiles=r"[a.laz, 'b\c.laz']"))


@pytest.mark.parametrize("written", [r'"C:\maps\area"', r'"C:\tiles\new"'])
def test_backslashes_in_double_quotes(tmp_path: Path, written: str) -> None:
    """YAML reads them as escapes: a tab, or nothing it knows. The line and the way out are named."""
    message = answer(tmp_path, area_text(out=written))
    assert "line 4" in message
    assert "/" in message.partition("line 4")[2]
    assert "backslash" in message


@pytest.mark.parametrize(("written", "near"), [("2", "2.5"), ("4", "5"), ("10", "5"), ("-5", "2.5")])
def test_an_interval_the_norm_does_not_know(tmp_path: Path, written: str, near: str) -> None:
    """Both that the norm allows are named, and the nearer one as it is to be written."""
    message = answer(tmp_path, area_text(contour_interval_m=written))
    assert f"you wrote {written}" in message
    assert "5 or 2.5" in message
    assert f"contour_interval_m: {near}" in message


def test_a_key_written_twice_is_named(tmp_path: Path) -> None:
    """YAML would take the last one without a word."""
    message = answer(tmp_path, area_text() + "scale: 5000\nscale: 7500\n")
    assert all(part in message for part in ("'scale'", "line 4", "line 5")), message


def test_wrong_keys_hide_no_wrong_values(tmp_path: Path) -> None:
    """All mistakes are told at once, those in keys too; a number where text is wanted is put in quotes."""
    message = answer(tmp_path, area_text(name="1984") + "1: 2\nout: a\nout: b\nscale: 3\n")
    assert all(
        part in message for part in ("'1' is not the name", "'out' stands in line 5", "scale", "put it in quotes")
    )


def test_a_crs_that_overrides_needs_one(tmp_path: Path) -> None:
    """Overriding with nothing is a slip."""
    assert "'crs: EPSG:25832'" in answer(tmp_path, area_text(crs_overrides="true"))


def test_a_unit_of_heights_that_overrides_needs_one(tmp_path: Path) -> None:
    """Overriding with nothing is a slip."""
    assert "'height_unit: metre'" in answer(tmp_path, area_text(height_unit_overrides="true"))


@pytest.mark.parametrize(
    "text",
    [
        "expert: &again {flow: *again}\n",
        "tiles: &again [*again]\n",
        "name: " + "[" * 3000 + "\n",
        "scale: " + "9" * 5000 + "\n",
        "scale: 0x" + "f" * 5000 + "\n",
        "name: !!int abc\n",
        "name: !!float abc\n",
        "name: !!timestamp 2027-13-10\n",
        "name: !!binary abc\n",
        "? [a, b]\n: 1\n",
        "1: 2\n",
        "null: 2\n",
        "2027-13-10: 2\n",
        '"\\0": 1\n',
        'name: "\\0"\n',
        'tiles: "a\\0b"\n',
        'crs: "\\0"\n',
        'name: "\\ud800"\n',
        "crs: [1, 2]\n",
        "crs: true\n",
        "crs: 25832.5\n",
        "crs: -1\n",
        "name: ''\n",
        "out: ''\n",
        "expert: {flow: {1: 2}}\n",
        "expert: {terrain: {cell_m: .nan}}\n",
        "expert: {terrain: {cell_m: .inf}}\n",
        "out: " + "x" * 5000 + "\n",
    ],
)
def test_odd_yaml_is_answered_in_words(tmp_path: Path, text: str) -> None:
    """Loops, depths, tags, keys that are no words, numbers past all bounds."""
    message = answer(tmp_path, text)
    assert message.startswith(str(tmp_path / "area.yaml"))
    assert len(message) < 4000, "a message is to be read"


def test_text_that_is_not_utf_8_says_how_to_save_it(tmp_path: Path) -> None:
    """A file saved in the code page of an older Windows."""
    path = tmp_path / "area.yaml"
    path.write_bytes("name: Höllental\n".encode("latin-1"))
    with pytest.raises(SettingsError, match="UTF-8"):
        load_area(path)


SCALARS = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.sampled_from([10**400, -(10**400), 2**64, 0, -1])
    | st.floats()
    | st.dates()
    | st.datetimes()
    | st.text(max_size=20)
    | st.binary(max_size=8)
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5) | st.integers(), inner, max_size=3),
    max_leaves=4,
)
PLACES = [(name,) for name in Area.model_fields] + [
    ("expert", section, name) for section, kind in sections().items() for name in kind.model_fields
]


@settings(max_examples=400, deadline=None)
@given(place=st.sampled_from(PLACES), value=VALUES)
@example(place=("map_date",), value=20270410)
@example(place=("expert", "terrain", "cell_m"), value=math.nan)
def test_no_value_of_any_setting_ends_in_a_traceback(place: tuple[str, ...], value: object) -> None:
    """Numbers, nothing, lists, dates, huge numbers, NaN, any letter: an area with finite numbers, or words."""
    written: object = value
    for part in reversed(place):
        written = {part: written}
    assert isinstance(written, dict)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "area.yaml"
        try:
            path.write_text(yaml.safe_dump(GOOD | written, allow_unicode=True), encoding="utf-8")
        except (yaml.YAMLError, ValueError):  # what YAML cannot write, nobody can have written
            return
        try:
            area = load_area(path)
        except SettingsError as error:
            assert place[-1] in str(error) or "YAML" in str(error)  # noqa: PT017
            assert len(str(error)) < 4000  # noqa: PT017
        else:
            numbers = [n for part in area.expert.model_dump().values() for n in part.values() if isinstance(n, float)]
            assert all(map(math.isfinite, numbers))


@settings(max_examples=300, deadline=None)
@given(text=st.text(max_size=60) | st.text("abc:- []{}&*!#|>'\"\n\t\\0123456789.?<", max_size=60))
def test_no_text_ends_in_a_traceback(text: str) -> None:
    """Files that are no area files at all."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "area.yaml"
        try:
            path.write_text(text, encoding="utf-8")
        except UnicodeEncodeError:  # half a letter cannot be saved
            return
        with pytest.raises(SettingsError, match=r"area\.yaml"):
            load_area(path)
