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
    "pink": (0, 90, 20, 5),
}
"""Pink is ours, for what the norm has no colour: candidates on the fieldwork sheet."""


class Plate(IntEnum):
    """What is printed together, bottom first: one plate an ink, and what hides the inks below it.

    The norm's colour appendix (from memory) orders areas below lines within an ink. Blue hides what lies below it;
    among the plates that multiply the order does not matter, for multiplying commutes.
    """

    YELLOW = 0
    DOTS_IN_YELLOW = 1
    GREEN = 2
    RIDES = 3
    BLUE = 4
    BROWN = 5
    WHITE = 6
    BLACK = 7
    PURPLE = 8


COVERING = frozenset({Plate.YELLOW, Plate.DOTS_IN_YELLOW, Plate.RIDES, Plate.BLUE, Plate.WHITE})
"""Plates that hide what is below: openings left white or yellow in other colours, and blue. All others multiply.

Blue multiplied with yellow is olive, and with the green of a thicket it is nearly that green: a stream would be lost
in both. So blue leaves out the yellow and green below it, and the brown and black above it still darken it (our
choice)."""

PLATES: dict[str, Plate] = {
    "yellow": Plate.YELLOW,
    "white": Plate.YELLOW,
    "green": Plate.GREEN,
    "olive": Plate.GREEN,
    "blue": Plate.BLUE,
    "brown": Plate.BROWN,
    "black": Plate.BLACK,
    "purple": Plate.PURPLE,
    "pink": Plate.PURPLE,
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
