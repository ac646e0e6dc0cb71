"""Every step of the workflow as a command, its options made from its signature."""

from __future__ import annotations

import argparse
import importlib
import inspect
import sys
import types
import typing
from collections.abc import Callable
from pathlib import Path

from pydantic import ValidationError

from pipeline.errors import InputError
from pipeline.plan.steps import STEPS
from pipeline.settings import Section

Step = Callable[..., None]


def find_step(name: str, /) -> Step:
    """The function of a step."""
    module, function = STEPS[name].split(":")
    return typing.cast("Step", getattr(importlib.import_module(module), function))


def parser_of(name: str, step: Step, /) -> argparse.ArgumentParser:
    """A command-line parser with one option for each parameter of the step."""
    parser = argparse.ArgumentParser(prog=f"python -m pipeline {name}", description=step.__doc__)
    hints = typing.get_type_hints(step)
    for parameter in inspect.signature(step).parameters.values():
        hint = hints[parameter.name]
        required = parameter.default is inspect.Parameter.empty
        option = "--" + parameter.name.replace("_", "-")
        default = None if required else parameter.default
        if hint == list[float]:
            parser.add_argument(option, dest=parameter.name, type=_numbers, required=required, default=default)
        elif typing.get_origin(hint) is list:
            kind = typing.get_args(hint)[0]
            parser.add_argument(option, dest=parameter.name, nargs="*", type=kind, required=required, default=default)
        else:
            parser.add_argument(option, dest=parameter.name, type=_reader(hint), required=required, default=default)
    return parser


def _numbers(text: str) -> list[float]:
    """Numbers with commas between them, as one word: a number below zero alone may look like an option."""
    return [float(part) for part in text.split(",")]


def _reader(hint: object) -> Callable[[str], object]:
    """What turns the text of an option into a value of that type; a section of settings comes as JSON."""
    if isinstance(hint, types.UnionType):
        hint = next(kind for kind in hint.__args__ if kind is not type(None))
    if isinstance(hint, type) and issubclass(hint, Section):
        return _section_reader(hint)
    if typing.get_origin(hint) is typing.Literal:
        return _choice_reader(typing.get_args(hint))
    if hint in (str, int, float, Path):
        return typing.cast("Callable[[str], object]", hint)
    raise TypeError(f"a step cannot take {hint} from the command line")


def _choice_reader(choices: tuple[object, ...]) -> Callable[[str], object]:
    def read(text: str) -> object:
        if text not in choices:
            raise argparse.ArgumentTypeError(f"'{text}' is none of {', '.join(map(str, choices))}")
        return text

    return read


def _section_reader(kind: type[Section]) -> Callable[[str], object]:
    def read(text: str) -> object:
        try:
            return kind.model_validate_json(text)
        except ValidationError as error:
            # argparse would hide pydantic's text behind its own.
            raise argparse.ArgumentTypeError(str(error)) from error

    return read


def run_step(words: list[str], /) -> int:
    """Run one step; 0 when done, 2 for bad input with its message on standard error."""
    if not words or words[0] not in STEPS:
        print(f"usage: python -m pipeline STEP ...\nsteps: {', '.join(STEPS)}", file=sys.stderr)
        return 2
    step = find_step(words[0])
    options = parser_of(words[0], step).parse_args(words[1:])
    try:
        step(**vars(options))
    except InputError as error:
        print(f"error: {error}", file=sys.stderr)
        return 2
    return 0
