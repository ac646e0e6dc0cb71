"""What is written down about the settings agrees with the settings."""

import difflib
import json

import yaml

from pipeline.explain import CONFIG, schema_text, settings_text
from pipeline.settings import Area, Expert, load_area


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


def test_every_setting_has_a_reason() -> None:
    """A default without a sentence is a number nobody can judge."""
    sections = [Area, *(field.annotation for field in Expert.model_fields.values())]
    silent = [
        f"{section.__name__}.{name}"
        for section in sections
        for name, field in section.model_fields.items()
        if not field.description and name != "expert"
    ]
    assert silent == []


def test_the_schema_allows_what_the_loader_allows() -> None:
    """The short area file is valid by the schema's own lists: keys, choices, what is needed."""
    schema = json.loads(schema_text())
    area = yaml.safe_load((CONFIG / "area.yaml").read_text(encoding="utf-8"))
    assert set(area) <= set(schema["properties"])
    assert set(schema["required"]) <= set(area)
    assert area["scale"] in schema["properties"]["scale"]["enum"]
    assert schema["additionalProperties"] is False
    assert load_area(CONFIG / "area.yaml").scale == area["scale"]
