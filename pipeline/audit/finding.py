"""A place where the printed draft falls short of the norm."""

from __future__ import annotations

from dataclasses import dataclass

from shapely.geometry import Point

TOLERANCE = 0.05
"""Share by which a printed size may fall short: ISOM 2000 lets printed dimensions differ by 5 %."""


@dataclass(frozen=True)
class Finding:
    """What was found at one place.

    Attributes
    ----------
    rule : its name, one of `pipeline.audit.audit.RULES`
    symbol : number of the symbol that breaks it
    other : number of the symbol it lies too near to; empty where only one is concerned
    asked, found : in `unit`: mm and mm2 are those of a sheet at 1:15 000
    place : on the sheet, in millimetres at 1:15 000
    """

    rule: str
    symbol: str
    other: str
    asked: float
    found: float
    unit: str
    place: Point


def falls_short(found: float, asked: float) -> bool:
    """Whether a size is below what is asked by more than printing allows."""
    return found < asked * (1 - TOLERANCE)
