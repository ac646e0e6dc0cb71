"""Writing the settings down: `config/settings.md` for people and `config/area.schema.json` for editors.

Both are made from `pipeline.settings`; a test shows the difference when they no longer agree.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from typing import NamedTuple

from pydantic.fields import FieldInfo

from pipeline.files.disk.atomic import write_text
from pipeline.settings import Area, EffortSettings, Expert, Section
from pipeline.settings.topics import TOPICS, Effect, effects
from pipeline.shipped import CONFIG

INTRODUCTION = """\
# Settings

Made by `make settings` from `pipeline/settings/`; do not edit by hand.

Each setting is followed by its default and, in brackets, what it may be.
The first part of this page is what an area file says.
The rest has defaults that suit most areas and is ordered by what one may want to change in a draft.
Those settings are named `section.setting` here and stand under `expert:` in the area file:

```yaml
expert:
  rock:
    cliff_excess_m: 1.5
  vegetation:
    density_window_m: 2.5
```
"""

EFFORT = """
## How the club works

Asked by `tussock estimate`, under `effort:` in the area file:

```yaml
effort:
  day_rate: 180
  mappers: 2
```
"""


class Setting(NamedTuple):
    """One setting, with what its section knows of it; `schema` is its part of the section's JSON schema."""

    name: str
    field: FieldInfo
    schema: dict[str, object]


def schema_text() -> str:
    """The JSON schema of the area file; descriptions say what changes when a number goes up and when it goes down."""
    schema = Area.model_json_schema() | {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    described = effects()
    for name, section in sections().items():
        for key, prop in schema["$defs"][section.__name__]["properties"].items():
            prop["description"] = " ".join([prop["description"], *_effect(described[f"{name}.{key}"])])
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def sections() -> dict[str, type[Section]]:
    """The sections under `expert:` by name."""
    found = {name: field.annotation for name, field in Expert.model_fields.items()}
    return {name: kind for name, kind in found.items() if isinstance(kind, type) and issubclass(kind, Section)}


def settings_text() -> str:
    """Every setting once, by what a mapper wants, with default, range and what it does, as Markdown."""
    expert = {s.name: s for name, section in sections().items() for s in _settings_of(section, prefix=f"{name}.")}
    lines = [INTRODUCTION, "## The area file\n"]
    lines += [line for s in _settings_of(Area) if s.name not in ("effort", "expert") for line in _lines(s, None)]
    lines += [EFFORT] + [line for s in _settings_of(EffortSettings, prefix="effort.") for line in _lines(s, None)]
    for topic in TOPICS:
        lines.append(f"\n## {topic.title}\n")
        lines += [line for name, effect in topic.settings.items() for line in _lines(expert[name], effect)]
    return "\n".join(lines) + "\n"


def _settings_of(section: type[Section], *, prefix: str = "") -> Iterator[Setting]:
    schemas = section.model_json_schema()["properties"]
    for name, field in section.model_fields.items():
        yield Setting(prefix + name, field, schemas[name])


def _lines(setting: Setting, effect: Effect | None) -> Iterator[str]:
    unit, allowed = _unit(setting.name), _allowed(setting.schema)
    default = _default(setting.field)
    if default == "empty":
        allowed = f"{allowed} {unit}".strip()
    elif unit:
        default = f"{default} {unit}"
    bracket = f" ({allowed})" if allowed else ""
    yield f"- `{setting.name}`: **{default}**{bracket}. {setting.field.description}"
    if effect:
        yield "  " + " ".join(_effect(effect))


def _effect(effect: Effect | None) -> tuple[str, ...]:
    return (f"Higher: {effect.higher}", f"Lower: {effect.lower}") if effect else ()


UNITS = {
    "_m2_per_m3": "m2/m3",
    "_returns": "returns",
    "_m2": "m2",
    "_mm": "mm",
    "_h": "h",
    "_m": "m",
    "_deg": "degrees",
    "_dpi": "dots per inch",
    "_mpx": "million pixels",
}
"""End of a setting's name to its unit in print; names that end otherwise are shares, counts or choices."""


def _unit(name: str) -> str:
    return next((unit for end, unit in UNITS.items() if name.endswith(end)), "")


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "needed"
    return "empty" if field.default is None else _value(field.default)


def _value(value: object) -> str:
    """A value as a mapper may write it in YAML."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return f"{{{', '.join(f'{_value(key)}: {_value(one)}' for key, one in value.items())}}}"
    if isinstance(value, tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, int | float):
        return f"{value:.15g}" if abs(value) < 1e5 else f"{value:_.0f}"
    return str(value)


def _allowed(schema: dict[str, object]) -> str:
    """What a setting may be: choices, or from where to where; empty where anything of its kind goes."""
    parts = [schema, *_dicts(schema.get("anyOf")), *_dicts(schema.get("prefixItems"))]
    choices = next((part["enum"] for part in parts if "enum" in part), None)
    if isinstance(choices, list):
        return " or ".join(map(_value, choices)) if len(choices) < 3 else ", ".join(map(_value, choices))
    limits = next((part for part in parts if "maximum" in part), {})
    if "exclusiveMinimum" in limits:
        return f"above {_value(limits['exclusiveMinimum'])}, to {_value(limits['maximum'])}"
    if "minimum" in limits:
        return f"{_value(limits['minimum'])} to {_value(limits['maximum'])}"
    return "true or false" if schema.get("type") == "boolean" else ""


def _dicts(parts: object) -> list[dict[str, object]]:
    return [part for part in parts if isinstance(part, dict)] if isinstance(parts, list) else []


def main() -> int:
    """Write both files."""
    write_text(CONFIG / "settings.md", settings_text())
    write_text(CONFIG / "area.schema.json", schema_text())
    return 0


if __name__ == "__main__":
    sys.exit(main())
