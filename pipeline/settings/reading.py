"""Reading the area file: refused with every problem at once, the line, what is allowed and the nearest name."""

from __future__ import annotations

import difflib
import typing
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
        near = _nearest(place)
        hint = f"did you mean '{near}'? " if near else ""
        return f"{where}'{name}' is not a setting; {hint}Allowed here: {', '.join(_names_at(place[:-1]))}"
    if problem["type"] == "model_type":
        return (
            f"{where}'{name}' should hold settings, each as 'name: value'. Allowed here: {', '.join(_names_at(place))}"
        )
    message = (
        str(problem["msg"]).removeprefix("Value error, ").replace("Input should", "should").partition(", unable")[0]
    )
    message = message.replace("a valid boolean", "true or false")
    if problem["type"] == "value_error":
        return f"{where}{name + ': ' if name else ''}{message}"
    return f"{where}{name}: {message} (you wrote {problem['input']!r}); {_field_description(place)}"


def _nearest(place: tuple[str, ...]) -> str:
    """The setting that was probably meant: one of that very name elsewhere, else one nearly so called here or elsewhere."""
    here, elsewhere = _names_at(place[:-1]), _names_below()
    if place[-1] in elsewhere:
        return elsewhere[place[-1]]
    near = difflib.get_close_matches(place[-1], here, n=1, cutoff=0.7)
    if near:
        return near[0]
    far = difflib.get_close_matches(place[-1], list(elsewhere), n=1, cutoff=0.75)
    return elsewhere[far[0]] if far else ""


def _names_below(place: tuple[str, ...] = ()) -> dict[str, str]:
    """Name of every setting to its name with the sections it stands in; the first where two sections share one."""
    found: dict[str, str] = {}
    for name in _names_at(place):
        inner = _names_below((*place, name))
        found |= {key: full for key, full in (inner or {name: ".".join((*place, name))}).items() if key not in found}
    return found


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
