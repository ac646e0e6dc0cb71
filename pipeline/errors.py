"""Errors a mapper can act on: shown as one message without a traceback; the command ends with status 2."""


class InputError(ValueError):
    """Something about what Tussock was given: says what is wrong, in which file, and what to do."""


class SettingsError(InputError):
    """The area file does not fit."""


class SurveyError(InputError):
    """The lidar tiles or another input file cannot be used."""
