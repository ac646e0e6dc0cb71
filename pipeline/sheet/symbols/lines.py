"""How line symbols are drawn. Tags fall to the right: lines run with the higher ground on their left."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
import shapely.ops

from pipeline.sheet.page.colours import PLATES, Plate, tint
from pipeline.sheet.page.ink import BUTT, CIRCLE, ROUND, Geometries, Ink
from pipeline.sheet.symbols.marks import Marks, evenly, fitted_dashes, segments, stations

FENCE_TAG_DEG = 60.0
"""Lean of the tags of fences against the line (from memory)."""
FEWEST_TAGS_TO_CLOSE = 6
"""A line with room for fewer tags than these has none at its ends (our choice).

With them a line of two tags prints as a bracket and one of three as the letter E.
"""
TAPER_STEPS = 4
"""Steps in which the ends of an erosion gully grow to the full width."""


def _stroke(ink: Ink, marks: Marks, lines: Geometries, *, line_mm: float, cap: int = BUTT) -> None:
    ink.stroke(PLATES[marks.symbol.ink], tint(marks.symbol.ink), lines, line_mm=line_mm, cap=cap)


def _line(ink: Ink, marks: Marks, /) -> None:
    _stroke(ink, marks, marks.geometry, line_mm=marks.mm("line_mm"))


def _dashes(ink: Ink, marks: Marks, /) -> None:
    dashes = fitted_dashes(marks.geometry, dash_mm=marks.mm("dash_mm"), gap_mm=marks.mm("gap_mm"))
    plate, colour = PLATES[marks.symbol.ink], tint(marks.symbol.ink)
    ink.stroke(plate, colour, marks.geometry, line_mm=marks.mm("line_mm"), dashes_mm=dashes)


def _double_dashes(ink: Ink, marks: Marks, /) -> None:
    """Dashes in pairs; the pair is fitted like one long dash."""
    dash, gap, group_gap = marks.mm("dash_mm"), marks.mm("gap_mm"), marks.mm("group_gap_mm")
    pairs = fitted_dashes(marks.geometry, dash_mm=2 * dash + gap, gap_mm=group_gap)
    shares = np.array([dash, gap, dash]) / (2 * dash + gap)
    dashes = [(*(pair * shares), between) for pair, between in pairs]
    plate, colour = PLATES[marks.symbol.ink], tint(marks.symbol.ink)
    ink.stroke(plate, colour, marks.geometry, line_mm=marks.mm("line_mm"), dashes_mm=dashes)


def _dots(ink: Ink, marks: Marks, /) -> None:
    along = evenly(marks.geometry, spacing_mm=marks.mm("spacing_mm"), ends=True)
    _put_dots(ink, marks, along)


def _put_dots(ink: Ink, marks: Marks, along: list[np.ndarray]) -> None:
    dot = marks.mm("dot_mm")
    places = stations(marks.geometry, along).places
    ink.stamp(PLATES[marks.symbol.ink], tint(marks.symbol.ink), CIRCLE, places, size_mm=(dot, dot))


def _tagged(ink: Ink, marks: Marks, /) -> None:
    """A line with tags downhill."""
    _line(ink, marks)
    along = _places_of_tags(marks)
    at = stations(marks.geometry, along)
    reach = marks.mm("line_mm") / 2 + marks.mm("tag_length_mm")
    tags = segments(at.places, at.places + reach * at.right)
    kept = np.ones(len(tags), np.bool_)
    if marks.no_tags_in is not None:
        kept &= ~shapely.intersects(tags, marks.no_tags_in)
    if marks.beside is not None:
        owner = np.repeat(np.arange(len(along)), [len(distances) for distances in along])
        kept &= ~shapely.intersects(tags, np.array(marks.beside, np.object_)[owner])
    tags = tags[kept]
    _stroke(ink, marks, tags, line_mm=marks.mm("tag_mm"))


def _places_of_tags(marks: Marks) -> list[np.ndarray]:
    """Distances of the tags from the start of each line: the end tags close a long line, a short one stands out."""
    half_tag, spacing = marks.mm("tag_mm") / 2, marks.mm("tag_spacing_mm")
    inside = evenly(marks.geometry, spacing_mm=spacing, ends=False)
    found = []
    for line, distances in zip(marks.geometry, inside, strict=True):
        tags = len(distances) + 1
        has_ends = tags >= FEWEST_TAGS_TO_CLOSE and not line.is_ring
        found.append(np.linspace(half_tag, line.length - half_tag, tags) if has_ends else distances)
    return found


def _wall(ink: Ink, marks: Marks, /) -> None:
    _line(ink, marks)
    _put_dots(ink, marks, evenly(marks.geometry, spacing_mm=marks.mm("spacing_mm"), ends=False))


def _double_wall(ink: Ink, marks: Marks, /) -> None:
    _line(ink, marks)
    middles = evenly(marks.geometry, spacing_mm=marks.mm("spacing_mm"), ends=False)
    half = marks.mm("group_gap_mm") / 2
    _put_dots(ink, marks, [np.concatenate([middle - half, middle + half]) for middle in middles])


def _ruined_wall(ink: Ink, marks: Marks, /) -> None:
    _dashes(ink, marks)
    _put_dots(ink, marks, _dash_middles(marks))


def _dash_middles(marks: Marks) -> list[np.ndarray]:
    fitted = fitted_dashes(marks.geometry, dash_mm=marks.mm("dash_mm"), gap_mm=marks.mm("gap_mm"))
    lengths = shapely.length(marks.geometry)
    return [np.arange(dash / 2, length, dash + gap) for (dash, gap), length in zip(fitted, lengths, strict=True)]


def _gully(ink: Ink, marks: Marks, /) -> None:
    """A line whose ends taper."""
    full = marks.mm("line_mm")
    taper = 2 * full
    for step in range(1, TAPER_STEPS + 1):
        inset = (step - 1) / TAPER_STEPS * taper
        lengths = shapely.length(marks.geometry)
        long_enough = lengths > 2 * inset + 0.01
        inner = [
            shapely.ops.substring(line, inset, length - inset)
            for line, length in zip(marks.geometry[long_enough], lengths[long_enough], strict=True)
        ]
        _stroke(ink, marks, np.array(inner, object), line_mm=full * step / TAPER_STEPS, cap=ROUND)


def _ride(ink: Ink, marks: Marks, /) -> None:
    """Dashes on a band whose colour says how fast the ride is."""
    symbol = marks.symbol
    if symbol.fill:
        colour = tint(symbol.fill, symbol.mm("fill_pct"))
        ink.stroke(Plate.RIDES, colour, marks.geometry, line_mm=marks.mm("width_mm"))
    _dashes(ink, marks)


def _road(ink: Ink, marks: Marks, /) -> None:
    """A band between two edges; an area is drawn to scale."""
    symbol = marks.symbol
    if marks.kind == "line":
        bands = shapely.buffer(marks.geometry, marks.mm("width_mm") / 2 + marks.mm("edge_mm") / 2, cap_style="flat")
    else:
        bands = marks.geometry
    ink.fill(PLATES[symbol.fill], tint(symbol.fill, symbol.mm("fill_pct")), bands)
    ink.stroke(PLATES[symbol.edge], tint(symbol.edge), bands, line_mm=marks.mm("edge_mm"))


def _railway(ink: Ink, marks: Marks, /) -> None:
    """A black line with white dashes in it, that stay white on any ground."""
    ink.stroke(Plate.WHITE, tint("white"), marks.geometry, line_mm=marks.mm("line_mm"))
    _line(ink, marks)
    dashes = fitted_dashes(marks.geometry, dash_mm=marks.mm("dash_mm"), gap_mm=marks.mm("gap_mm"))
    inner = [(0.0, dash / 2, gap, dash / 2) for dash, gap in dashes]
    ink.stroke(Plate.BLACK, tint("white"), marks.geometry, line_mm=marks.mm("width_mm"), dashes_mm=inner)


def _power_line(ink: Ink, marks: Marks, /) -> None:
    _line(ink, marks)
    _pylons(ink, marks)


def _double_power_line(ink: Ink, marks: Marks, /) -> None:
    half = marks.mm("width_mm") / 2
    sides = [shapely.offset_curve(marks.geometry, half), shapely.offset_curve(marks.geometry, -half)]
    _stroke(ink, marks, np.concatenate(sides), line_mm=marks.mm("line_mm"))
    _pylons(ink, marks)


def _pylons(ink: Ink, marks: Marks) -> None:
    """A bar across at every bend and end of the line."""
    # Wires hang in a vertical plane: a bend in plan of more than a tenth of a millimetre is a pylon.
    bends = shapely.simplify(marks.geometry, 0.1)
    along = [
        np.array([line.project(shapely.Point(point)) for point in bend.coords])
        for line, bend in zip(marks.geometry, bends, strict=True)
    ]
    at = stations(marks.geometry, along)
    half = marks.mm("tag_length_mm") / 2 * at.right
    _stroke(ink, marks, segments(at.places - half, at.places + half), line_mm=marks.mm("tag_mm"))


def _bridge(ink: Ink, marks: Marks, /) -> None:
    half = marks.mm("width_mm") / 2
    sides = [shapely.offset_curve(marks.geometry, half), shapely.offset_curve(marks.geometry, -half)]
    _stroke(ink, marks, np.concatenate(sides), line_mm=marks.mm("line_mm"))


def _leaning_tags(ink: Ink, marks: Marks, along: list[np.ndarray]) -> None:
    at = stations(marks.geometry, along)
    lean = np.radians(FENCE_TAG_DEG)
    reach = marks.mm("tag_length_mm") * (np.sin(lean) * at.right + np.cos(lean) * at.along)
    _stroke(ink, marks, segments(at.places, at.places + reach), line_mm=marks.mm("tag_mm"))


def _fence(ink: Ink, marks: Marks, /) -> None:
    _line(ink, marks)
    _leaning_tags(ink, marks, evenly(marks.geometry, spacing_mm=marks.mm("tag_spacing_mm"), ends=False))


def _ruined_fence(ink: Ink, marks: Marks, /) -> None:
    _dashes(ink, marks)
    _leaning_tags(ink, marks, _dash_middles(marks))


def _in_pairs(marks: Marks) -> list[np.ndarray]:
    middles = evenly(marks.geometry, spacing_mm=marks.mm("tag_spacing_mm"), ends=False)
    half = marks.mm("group_gap_mm") / 2
    return [np.concatenate([middle - half, middle + half]) for middle in middles]


def _double_fence(ink: Ink, marks: Marks, /) -> None:
    _line(ink, marks)
    _leaning_tags(ink, marks, _in_pairs(marks))


def _bars(ink: Ink, marks: Marks, along: list[np.ndarray], *, length_mm: float) -> None:
    at = stations(marks.geometry, along)
    half = length_mm / 2 * at.right
    _stroke(ink, marks, segments(at.places - half, at.places + half), line_mm=marks.mm("tag_mm"))


def _barred(ink: Ink, marks: Marks, /) -> None:
    _line(ink, marks)
    along = evenly(marks.geometry, spacing_mm=marks.mm("tag_spacing_mm"), ends=False)
    _bars(ink, marks, along, length_mm=marks.mm("tag_length_mm"))


def _double_barred(ink: Ink, marks: Marks, /) -> None:
    _line(ink, marks)
    _bars(ink, marks, _in_pairs(marks), length_mm=marks.mm("tag_length_mm"))


def _stairway(ink: Ink, marks: Marks, /) -> None:
    _bridge(ink, marks)
    along = evenly(marks.geometry, spacing_mm=marks.mm("tag_spacing_mm"), ends=True)
    _bars(ink, marks, along, length_mm=marks.mm("width_mm"))


LINE_DRAWINGS: dict[str, Callable[[Ink, Marks], None]] = {
    "line": _line,
    "dashes": _dashes,
    "double_dashes": _double_dashes,
    "dots": _dots,
    "tagged": _tagged,
    "wall": _wall,
    "double_wall": _double_wall,
    "ruined_wall": _ruined_wall,
    "gully": _gully,
    "ride": _ride,
    "road": _road,
    "railway": _railway,
    "power_line": _power_line,
    "double_power_line": _double_power_line,
    "bridge": _bridge,
    "fence": _fence,
    "ruined_fence": _ruined_fence,
    "double_fence": _double_fence,
    "barred": _barred,
    "double_barred": _double_barred,
    "stairway": _stairway,
}
