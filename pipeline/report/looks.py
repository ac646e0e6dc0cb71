"""How the page draws each symbol: the paints that a GIS gets, as plain data for the page's script."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.exports.styles.paints import Along, Hatch, Paint, Stamp, Stroke, Surface, Tile, paints_of
from pipeline.exports.styles.svg import Svg
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import Kind, SymbolTable

Json = str | int | float | bool | None | list["Json"] | dict[str, "Json"]
"""What a data block of the page may hold."""


def look_of(number: str, kind: Kind, symbols: SymbolTable, /) -> dict[str, Json]:
    """Name, section, place in the order of printing and paints of a symbol; metres on the ground.

    Raises
    ------
    KeyError
        If the table of the norm does not know the symbol.
    """
    symbol = symbols[number]
    return {
        "number": symbol.number,
        "name": symbol.name,
        "section": symbol.section,
        "kind": kind,
        "order": symbol.order,
        "paints": [told for paint in paints_of(symbol, kind) for told in _told(paint)],
    }


def names_of(symbols: SymbolTable, numbers: Iterable[str], /) -> list[Json]:
    """Number and name of symbols, to choose from in a form."""
    return [[number, symbols[number].name] for number in numbers]


def _told(paint: Paint) -> list[Json]:
    if isinstance(paint, Surface):
        return [{"is": "surface", "colour": paint.colour}]
    if isinstance(paint, Stroke):
        return [_stroke(paint)]
    if isinstance(paint, Stamp):
        turn: dict[str, Json] = {"turns": paint.turns, "without_deg": paint.without_angle_deg}
        return [{"is": "stamp", **_drawing(paint.svg), **turn, "colour": paint.like.colour}]
    if isinstance(paint, Along):
        return [{"is": "along", **_drawing(paint.svg), "every_m": paint.every_m, "first_m": paint.first_m}]
    if isinstance(paint, Tile | Hatch):
        return [{"is": "tile", **_drawing(paint.svg), "tint": paint.tint}]
    raise TypeError(f"no words for {type(paint).__name__}")


def _stroke(stroke: Stroke) -> dict[str, Json]:
    return {
        "is": "stroke",
        "colour": stroke.colour,
        "width_m": round(stroke.width_m, 3),
        "dashes_m": [round(length, 3) for length in stroke.dashes_m],
        "right_m": round(stroke.right_m, 3),
    }


def _drawing(svg: Svg) -> dict[str, Json]:
    return {
        "svg": f"data:image/svg+xml;base64,{svg.base64}",
        "width_m": round(ground_m(svg.width_mm), 3),
        "height_m": round(ground_m(svg.height_mm), 3),
    }
