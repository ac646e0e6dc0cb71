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
from pipeline.settings.written import shown


def load_area(path: Path, /) -> Area:
    """The area file, checked and with defaults filled in.

    Raises
    ------
    SettingsError
        Naming the file and, for every problem found, the line, what is wrong, and what is allowed.
    """
    node, values = _parse(path)
    if not isinstance(values, dict):
        raise SettingsError(f"{path}: expected lines like 'name: Hollin Edge', found no settings")
    lines, problems = _lines_of(node)
    try:
        area = Area.model_validate(values)
        if not problems:
            return area
    except ValidationError as error:
        found = [dict(problem) for problem in error.errors(include_url=False)]
        # Keys that are no text are among the problems already, with their lines.
        problems += [_explain(problem, lines) for problem in found if problem["type"] != "invalid_key"]
    raise SettingsError(f"{path}:\n" + "\n".join(f"  {problem}" for problem in problems))


class _Loader(yaml.SafeLoader):
    """YAML in which days stay the text they were written as, so that one that does not exist can be answered."""


_Loader.yaml_implicit_resolvers = {
    letter: [(tag, pattern) for tag, pattern in resolvers if tag != "tag:yaml.org,2002:timestamp"]
    for letter, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def _parse(path: Path) -> tuple[yaml.Node | None, object]:
    """The file as a tree that knows its lines, and as values."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise SettingsError(f"{path}: there is no such area file") from error
    except UnicodeDecodeError as error:
        raise SettingsError(f"{path}: is not UTF-8 text; save it again with the encoding UTF-8") from error
    except OSError as error:
        raise SettingsError(f"{path}: cannot be read as an area file: {error.strerror}") from error
    try:
        return yaml.compose(text, Loader=_Loader), yaml.load(text, Loader=_Loader)
    except yaml.YAMLError as error:
        raise SettingsError(f"{path}: {_yaml_problem(error)}") from error
    except RecursionError as error:
        raise SettingsError(f"{path}: not valid YAML: brackets within brackets without end") from error
    except (ValueError, TypeError, LookupError) as error:  # a tag such as !!int before what is none, or a vast number
        raise SettingsError(
            f"{path}: not valid YAML: a value is not what its tag says ({shown(str(error))})"
        ) from error


def _yaml_problem(error: yaml.YAMLError) -> str:
    """Where YAML stumbles and over what, in one sentence."""
    mark = getattr(error, "problem_mark", None)
    if mark is None:
        return f"not valid YAML: {' '.join(str(error).split())}"
    said = f"line {mark.line + 1}: not valid YAML: {getattr(error, 'problem', None) or error}"
    if "escape" in said:
        said += (
            ". Between double quotes a backslash begins a special character; write paths with forward slashes, "
            "for example C:/maps/area"
        )
    return said


def _lines_of(root: yaml.Node | None) -> tuple[dict[tuple[str, ...], int], list[str]]:
    """Line (from 1) of every key of a YAML document, and what is wrong with the keys in words."""
    lines: dict[tuple[str, ...], int] = {}
    problems = []
    todo: list[tuple[tuple[str, ...], yaml.Node | None]] = [((), root)]
    seen: set[int] = set()  # a node may refer to itself
    while todo:
        prefix, node = todo.pop()
        if not isinstance(node, yaml.MappingNode) or id(node) in seen:
            continue
        seen.add(id(node))
        for key, value in node.value:
            place, line = (*prefix, str(key.value)), key.start_mark.line + 1
            if key.tag != "tag:yaml.org,2002:str":
                problems.append(
                    f"line {line}: '{shown('.'.join((*prefix, str(key.value))))}' is not the name of a setting"
                )
            elif place in lines:
                name = ".".join(place)
                problems.append(f"line {line}: '{name}' stands in line {lines[place]} already; leave one of them out")
            lines.setdefault(place, line)
            todo.append((place, value))
    return lines, problems


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
        return f"{where}'{shown(name)}' is not a setting; {hint}Allowed here: {', '.join(_names_at(place[:-1]))}"
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
    if problem["type"] == "string_type" and isinstance(problem["input"], int | float):
        message = "should be text; put it in quotes"
    return f"{where}{name}: {message} (you wrote {shown(problem['input'])}); {_field_description(place)}"


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
