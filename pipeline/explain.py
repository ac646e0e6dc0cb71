"""Writing the settings down: `config/settings.md` for people and `config/area.schema.json` for editors.

Both are made from `pipeline.settings`; a test shows the difference when they no longer agree.
"""

from __future__ import annotations

import json
import sys

from pydantic.fields import FieldInfo

from pipeline.files.atomic import write_text
from pipeline.settings import Area, Expert, Section
from pipeline.shipped import CONFIG


def schema_text() -> str:
    """The JSON schema of the area file."""
    schema = Area.model_json_schema() | {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def settings_text() -> str:
    """Every setting with its default, its range and its reason, as Markdown."""
    parts = [
        "# Settings\n",
        "Made by `make settings` from `pipeline/settings/`; do not edit by hand.\n",
        "## The area file\n",
        _table(Area, leave_out=("expert",)),
        "## Expert settings\n",
        "They go under `expert:` in the area file, by section. None of them need be set.\n",
    ]
    for name, field in Expert.model_fields.items():
        section = field.annotation
        if isinstance(section, type) and issubclass(section, Section) and section.model_fields:
            parts += [f"### {name}\n", f"{section.__doc__}\n", _table(section)]
    return "\n".join(parts)


def _table(section: type[Section], *, leave_out: tuple[str, ...] = ()) -> str:
    rows = ["| setting | default | allowed | why |", "| --- | --- | --- | --- |"]
    for name, field in section.model_fields.items():
        if name not in leave_out:
            rows.append(f"| `{name}` | {_default(field)} | {_allowed(field, name, section)} | {field.description} |")
    return "\n".join(rows) + "\n"


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "(needed)"
    return "(empty)" if field.default is None else f"`{field.default}`"


def _allowed(field: FieldInfo, name: str, section: type[Section]) -> str:
    schema = section.model_json_schema()["properties"][name]
    options = schema.get("enum") or next((part["enum"] for part in schema.get("anyOf", []) if "enum" in part), None)
    if options:
        return ", ".join(f"`{option}`" for option in options)
    limits = {
        kind: getattr(part, kind) for part in field.metadata for kind in ("ge", "gt", "le", "lt") if hasattr(part, kind)
    }
    signs = {"ge": "from", "gt": "above", "le": "to", "lt": "below"}
    return " ".join(f"{signs[kind]} {limit:g}" for kind, limit in limits.items())


def main() -> int:
    """Write both files."""
    write_text(CONFIG / "settings.md", settings_text())
    write_text(CONFIG / "area.schema.json", schema_text())
    return 0


if __name__ == "__main__":
    sys.exit(main())
