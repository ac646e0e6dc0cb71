"""The colours of the norm and the order in which they are printed.

CMYK values in percent as the table of ISOM 2000 gives them; ISOM 2017-2 is believed to keep them (purple and olive are
from memory). An orienteering map is printed in spot colours that lie over one another: a brown contour on green is
darker than either. A sheet in CMYK imitates that by multiplying the plates (IOF guidance on non-offset maps).
"""

from __future__ import annotations

from enum import IntEnum

Cmyk = tuple[float, float, float, float]
"""Cyan, magenta, yellow, black: each 0..1."""

CMYK_PERCENT: dict[str, tuple[float, float, float, float]] = {
    "black": (0, 0, 0, 100),
    "brown": (0, 56, 100, 18),
    "yellow": (0, 27, 79, 0),
    "blue": (87, 18, 0, 0),
    "green": (76, 0, 91, 0),
    "grey": (0, 0, 0, 23),
    "purple": (35, 85, 0, 0),
    "olive": (38, 27, 100, 0),
    "white": (0, 0, 0, 0),
}


class Plate(IntEnum):
    """What is printed together, bottom first (order of the norm's colour appendix, from memory)."""

    YELLOW_AREAS = 0
    DOTS_IN_YELLOW = 1
    GREEN_AREAS = 2
    RIDES = 3
    SCREENS = 4
    BLUE_AREAS = 5
    GREEN_MARKS = 6
    BROWN_MARKS = 7
    BLUE_MARKS = 8
    BLACK_MARKS = 9
    WHITE_IN_BLACK = 10
    PURPLE = 11


COVERING = frozenset({Plate.YELLOW_AREAS, Plate.DOTS_IN_YELLOW, Plate.RIDES, Plate.BLACK_MARKS, Plate.WHITE_IN_BLACK})
"""Plates that hide what is below: openings left white or yellow in other colours, and black. All others multiply."""

MARKS: dict[str, Plate] = {
    "brown": Plate.BROWN_MARKS,
    "blue": Plate.BLUE_MARKS,
    "black": Plate.BLACK_MARKS,
    "green": Plate.GREEN_MARKS,
    "purple": Plate.PURPLE,
}
SURFACES: dict[str, Plate] = {
    "yellow": Plate.YELLOW_AREAS,
    "white": Plate.YELLOW_AREAS,
    "green": Plate.GREEN_AREAS,
    "olive": Plate.GREEN_AREAS,
    "brown": Plate.SCREENS,
    "black": Plate.SCREENS,
    "blue": Plate.BLUE_AREAS,
    "purple": Plate.PURPLE,
}


def tint(colour: str, percent: float = 100.0, /) -> Cmyk:
    """A colour of the norm, screened to a percentage.

    Raises
    ------
    KeyError
        If the norm has no such colour.
    """
    cyan, magenta, yellow, black = CMYK_PERCENT[colour]
    share = percent / 10_000
    return cyan * share, magenta * share, yellow * share, black * share


def surface_plate(colour: str, percent: float, /) -> Plate:
    """Plate of a filled surface; solid black is printed with the black marks."""
    if colour == "black" and percent >= 100:
        return Plate.BLACK_MARKS
    return SURFACES[colour]
