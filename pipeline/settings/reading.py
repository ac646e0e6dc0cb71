"""Reading the area file: refused with every problem at once, the line, what is allowed and the nearest name."""

from __future__ import annotations

import difflib
import typing
from collections.abc import Sequence
from pathlib import Path

import yaml
from pydantic import ValidationError

from pipeline.errors import SettingsError
from pipeline.settings.area import Area
from pipeline.settings.section import Section


def load_area(path: Path, /) -> Area:
    """The area file, checked and with defaults filled in.

    Raises
    ------
    SettingsError
        Naming the file and, for every problem found, the line, what is wrong, and what is allowed.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise SettingsError(f"{path}: there is no such area file") from error
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError(f"{path}: cannot be read as an area file: {error}") from error
    try:
        node = yaml.compose(text, Loader=yaml.SafeLoader)
        values = yaml.safe_load(text)
    except yaml.YAMLError as error:
        raise SettingsError(f"{path}: not valid YAML: {error}") from error
    if not isinstance(values, dict):
        raise SettingsError(f"{path}: expected lines like 'name: Hollin Edge', found no settings")
    try:
        return Area.model_validate(values)
    except ValidationError as error:
        lines = _lines_of(node)
        problems = [_explain(dict(problem), lines) for problem in error.errors()]
        raise SettingsError(f"{path}:\n" + "\n".join(f"  {problem}" for problem in problems)) from error


def _lines_of(node: yaml.Node | None, prefix: tuple[str, ...] = ()) -> dict[tuple[str, ...], int]:
    """Line (from 1) of every key of a YAML document."""
    lines: dict[tuple[str, ...], int] = {}
    if isinstance(node, yaml.MappingNode):
        for key, value in node.value:
            place = (*prefix, str(key.value))
            lines[place] = key.start_mark.line + 1
            lines |= _lines_of(value, place)
    return lines


MOST_LISTED = 20
"""Names that are listed in a message; a mapper looks more of them up."""


def _listed(names: Sequence[str]) -> str:
    """Where the names that are allowed stand: here, or in the reference where they are many."""
    if len(names) <= MOST_LISTED:
        return f"Allowed here: {', '.join(names)}"
    return f"config/settings.md lists the {len(names)} settings allowed here"


def _explain(problem: dict[str, object], lines: dict[tuple[str, ...], int]) -> str:
    """One problem as a sentence: line, setting, what is wrong, what is allowed."""
    place = tuple(str(part) for part in typing.cast("tuple[object, ...]", problem["loc"]) if not isinstance(part, int))
    while place and place not in lines and problem["type"] != "missing":
        place = place[:-1]
    where = f"line {lines[place]}: " if place in lines else ""
    name = ".".join(place)
    if problem["type"] == "missing":
        return f"'{name}' is missing; {_field_description(place)}"
    if problem["type"] == "extra_forbidden":
        allowed = _names_at(place[:-1])
        near = difflib.get_close_matches(place[-1], allowed, n=1, cutoff=0.5)
        hint = f"did you mean '{near[0]}'? " if near else ""
        return f"{where}'{name}' is not a setting; {hint}{_listed(allowed)}"
    message = str(problem["msg"]).removeprefix("Value error, ").replace("Input should", "should")
    if problem["type"] == "value_error":
        return f"{where}{name + ': ' if name else ''}{message}"
    return f"{where}{name}: {message} (you wrote {problem['input']!r}); {_field_description(place)}"


def _model_at(place: tuple[str, ...]) -> type[Section] | None:
    model: type[Section] = Area
    for part in place:
        field = model.model_fields.get(part)
        kind = field.annotation if field else None
        if not (isinstance(kind, type) and issubclass(kind, Section)):
            return None
        model = kind
    return model


def _names_at(place: tuple[str, ...]) -> list[str]:
    model = _model_at(place)
    return list(model.model_fields) if model else []


def _field_description(place: tuple[str, ...]) -> str:
    model = _model_at(place[:-1])
    field = model.model_fields.get(place[-1]) if model and place else None
    return (field.description or "") if field else ""
