"""Errors a mapper can act on: shown as one message without a traceback; the command ends with status 2."""

from __future__ import annotations


class InputError(ValueError):
    """Something about what Tussock was given: says what is wrong, in which file, and what to do."""


class SettingsError(InputError):
    """The area file does not fit."""


class SurveyError(InputError):
    """The lidar tiles or another input file cannot be used."""


class NoCrsError(SurveyError):
    """The tiles do not say their coordinate system, and the area file does not either."""


def counted(number: int, one: str, many: str = "", /) -> str:
    """A number of things in words: "1 tile", "2,000 tiles"; `many` where it is not `one` with an s."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"
