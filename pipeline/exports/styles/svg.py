"""What the sheet's code draws, as SVG: symbols of a GIS and icons of a phone are the sheet's own drawings.

The sheet draws with path operators of the PDF (`pipeline.sheet.page.ink`). These few are put into the words of SVG 1.1
here, so that a symbol's shape is defined once, in the sheet.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass, field

from pipeline.exports.styles.screen import screen_colour
from pipeline.sheet.page.colours import Plate
from pipeline.sheet.page.ink import Ink
from pipeline.sheet.page.page import Box

CAPS = {"0": "butt", "1": "round"}
JOINS = {"0": "miter", "1": "round"}


@dataclass(frozen=True)
class Svg:
    """A small drawing.

    Attributes
    ----------
    text : str
        A whole SVG document.
    width_mm, height_mm : float
        Its size at 1:15 000.
    """

    text: str
    width_mm: float
    height_mm: float

    @property
    def base64(self) -> str:
        """The document as one word of ASCII."""
        return base64.b64encode(self.text.encode()).decode("ascii")


@dataclass
class _Pen:
    """What the operators of the PDF have set so far, and the path that is being drawn."""

    fill: str = "#000000"
    stroke: str = "#000000"
    width: str = "0"
    cap: str = "butt"
    join: str = "miter"
    dashes: str = ""
    path: list[str] = field(default_factory=list)
    found: list[str] = field(default_factory=list)

    def take(self, operator: str, numbers: list[str]) -> None:
        """Follow one operator.

        Raises
        ------
        ValueError
            If the sheet draws with an operator that has no translation here.
        """
        if operator in ("m", "l", "c"):
            self.path.append(operator.upper() + " ".join(numbers))
        elif operator == "h":
            self.path.append("Z")
        elif operator in ("k", "K"):
            cyan, magenta, yellow, black = map(float, numbers)
            colour = screen_colour((cyan, magenta, yellow, black))
            self.fill, self.stroke = (colour, self.stroke) if operator == "k" else (self.fill, colour)
        elif operator in ("w", "J", "j", "d"):
            self._set(operator, numbers)
        elif operator in ("f", "S"):
            self._paint(filled=operator == "f")
        elif operator in ("W", "n"):
            # A pattern's lines are clipped to its areas; a tile is cut out of a larger area by the view box instead.
            self.path.clear()
        elif operator not in ("q", "Q"):
            raise ValueError(f"the PDF operator '{operator}' has no translation to SVG")

    def _set(self, operator: str, numbers: list[str]) -> None:
        if operator == "w":
            self.width = numbers[0]
        elif operator == "J":
            self.cap = CAPS[numbers[0]]
        elif operator == "j":
            self.join = JOINS[numbers[0]]
        else:
            self.dashes = " ".join(numbers[:-1]).strip("[] ")

    def _paint(self, *, filled: bool) -> None:
        if self.path:
            way = f'd="{"".join(self.path)}"'
            if filled:
                self.found.append(f'<path {way} fill="{self.fill}"/>')
            else:
                dashes = f' stroke-dasharray="{self.dashes.replace(" ", ",")}"' if self.dashes else ""
                self.found.append(
                    f'<path {way} fill="none" stroke="{self.stroke}" stroke-width="{self.width}"'
                    f' stroke-linecap="{self.cap}" stroke-linejoin="{self.join}"{dashes}/>'
                )
        self.path.clear()


def svg_of(ink: Ink, box: Box, /) -> Svg:
    """What was drawn inside a box, plates bottom first; millimetres, up is up.

    Plates lie over one another and do not mix, for SVG 1.1 has no multiplying.
    """
    pen = _Pen()
    for plate in Plate:
        numbers: list[str] = []
        for word in ink.text_of(plate).split():
            if word.isalpha():
                pen.take(word, numbers)
                numbers = []
            else:
                numbers.append(word)
    # Counted from the lower left, upwards: the same picture turned over, with the box's top at 0.
    body = f'<g transform="matrix(1 0 0 -1 {-box.left:.4f} {box.top:.4f})">{"".join(pen.found)}</g>'
    return Svg(
        '<svg xmlns="http://www.w3.org/2000/svg" version="1.1" '
        f'width="{box.width:.4f}mm" height="{box.height:.4f}mm" viewBox="0 0 {box.width:.4f} {box.height:.4f}">'
        f"{body}</svg>",
        box.width,
        box.height,
    )
