"""What is written down about the settings agrees with the settings."""

import difflib
import json
import re

import yaml

from pipeline.explain import CONFIG, UNITS, schema_text, sections, settings_text
from pipeline.settings import Area, EffortSettings, load_area
from pipeline.settings.topics import TOPICS, effects

PAGE = settings_text()


def difference(written: str, made: str) -> str:
    """A readable difference of two texts."""
    return "\n".join(difflib.unified_diff(written.splitlines(), made.splitlines(), "written", "made", lineterm="", n=0))


def test_the_settings_page_is_up_to_date() -> None:
    """Repair: make settings."""
    assert difference((CONFIG / "settings.md").read_text(encoding="utf-8"), settings_text()) == "", "run: make settings"


def test_the_schema_is_up_to_date() -> None:
    """Repair: make settings."""
    written = (CONFIG / "area.schema.json").read_text(encoding="utf-8")
    assert difference(written, schema_text()) == "", "run: make settings"


SETTINGS = [f"{section}.{name}" for section, kind in sections().items() for name in kind.model_fields]


def test_every_setting_stands_in_one_topic() -> None:
    """None is forgotten, none stands twice, and none is told of that is gone."""
    told = [name for topic in TOPICS for name in topic.settings]
    assert sorted(told) == sorted(SETTINGS)


def test_numbers_say_what_they_do_and_choices_do_not() -> None:
    """A number has a direction, and what lies in each is told in its own words; a choice or a switch has none."""
    for name, effect in effects().items():
        section, _, key = name.partition(".")
        schema = sections()[section].model_json_schema()["properties"][key]
        kinds = {part.get("type") for part in (schema, *schema.get("anyOf", []), *schema.get("prefixItems", []))}
        assert (effect is not None) == bool(kinds & {"number", "integer"}), name
        if effect is not None:
            assert effect.higher != effect.lower, name


def test_every_number_has_a_range() -> None:
    """What a number may be is told on the page, so that nobody finds out by being refused."""
    ranges = re.findall(
        r"^- `[a-z]+[.](\w+)`: [*]{2}[^*]*[*]{2} [(]([^)]* to [^)]*|[^)]* or [^)]*|[^)]*, [^)]*)[)]", PAGE, re.M
    )
    with_range = {key for key, _ in ranges}
    assert {name.partition(".")[2] for name in SETTINGS} - with_range == {"pdal_command", "drawn_from_by_symbol"}


def test_every_default_can_be_written_as_it_is_printed() -> None:
    """YAML reads each default on the page as the value the settings hold."""
    printed = dict(re.findall(r"^- `([a-z]+[.]\w+)`: [*]{2}([^*]*)[*]{2}", PAGE, re.M))
    of_club = {f"effort.{name}" for name in EffortSettings.model_fields}
    assert set(printed) == set(SETTINGS) | of_club
    groups = sections() | {"effort": EffortSettings}
    for name, text in printed.items():
        section, _, key = name.partition(".")
        default = groups[section].model_fields[key].default
        unit = next((f" {unit}" for end, unit in UNITS.items() if name.endswith(end)), "")
        written = yaml.safe_load(text.removesuffix(unit))
        expected = "empty" if default is None else list(default) if isinstance(default, tuple) else default
        assert written == expected, name


def test_the_page_is_short_enough_to_read() -> None:
    """About four pages."""
    assert len(PAGE.splitlines()) <= 220


def test_every_setting_has_a_reason() -> None:
    """A default without a sentence is a number nobody can judge."""
    silent = [
        f"{section.__name__}.{name}"
        for section in (Area, *sections().values())
        for name, field in section.model_fields.items()
        if not field.description and name != "expert"
    ]
    assert silent == []


def test_the_schema_tells_an_editor_what_a_number_does() -> None:
    """Whoever completes the area file in an editor reads the same as on the page."""
    rock = json.loads(schema_text())["$defs"]["RockSettings"]["properties"]
    assert rock["cliff_excess_m"]["description"].endswith("Lower: lower steps as well.")


def test_the_schema_allows_what_the_loader_allows() -> None:
    """The short area file is valid by the schema's own lists: keys, choices, what is needed."""
    schema = json.loads(schema_text())
    area = yaml.safe_load((CONFIG / "area.yaml").read_text(encoding="utf-8"))
    assert set(area) <= set(schema["properties"])
    assert set(schema["required"]) <= set(area)
    assert area["scale"] in schema["properties"]["scale"]["enum"]
    assert schema["additionalProperties"] is False
    assert load_area(CONFIG / "area.yaml").scale == area["scale"]
