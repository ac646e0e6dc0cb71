"""How a GIS is to draw each symbol: surfaces, lines, drawings at places, along lines and over areas.

All sizes are metres on the ground, which the norm fixes whatever the scale: a larger scale enlarges the symbols with
the map. So a style is right at any zoom and on any print of the norm's scales. Marks and patterns are drawn by the
sheet's own code; lines are described here anew, since a GIS fits dashes and marks to each line itself.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import LineString, Point

from pipeline.exports.styles.screen import screen_colour
from pipeline.exports.styles.svg import Svg, svg_of
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import Kind, Symbol
from pipeline.sheet.page.colours import PLATES, tint
from pipeline.sheet.page.ink import CIRCLE, Ink
from pipeline.sheet.page.page import Box
from pipeline.sheet.symbols.areas import SCATTER_TILE
from pipeline.sheet.symbols.lines import FENCE_TAG_DEG
from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.symbol import draw_marks

MARK_RIM_MM = 0.1
"""White around a mark's drawing, so that no line at its edge is cut."""
PERIODS = 4
"""Steps of a pattern in one tile: a GIS rounds a tile to whole pixels, and over several steps that matters less."""


@dataclass(frozen=True)
class Surface:
    """An area filled with a colour, `#rrggbb`."""

    colour: str


@dataclass(frozen=True)
class Stroke:
    """A line, or the outline of an area.

    Attributes
    ----------
    dashes_m : dash, gap, dash, gap ...; none for a whole line
    right_m : how far the line lies to the right of the feature
    """

    colour: str
    width_m: float
    dashes_m: tuple[float, ...] = ()
    right_m: float = 0.0
    is_round: bool = False


@dataclass(frozen=True)
class Mark:
    """The plain shape that is most like a drawing, for readers of styles that take no drawings.

    Attributes
    ----------
    name : one of those that Symbology Encoding 1.1.0, 11.3.2 knows
    line_m : width of its outline; 0 where it is filled
    """

    name: str
    colour: str
    line_m: float
    size_m: float


@dataclass(frozen=True)
class Stamp:
    """A drawing at a place.

    Attributes
    ----------
    like : Mark
    turns : whether it follows the feature's own direction; else its top is to magnetic north
    without_angle_deg : the direction of a feature that has none, clockwise from magnetic north
    """

    svg: Svg
    like: Mark
    turns: bool
    without_angle_deg: float = 0.0


@dataclass(frozen=True)
class Along:
    """A drawing put along a line again and again, its right to the line's end; without a spacing, at each bend.

    Attributes
    ----------
    instead : a line for readers of styles that take no drawings, where the drawings are all there is
    """

    svg: Svg
    every_m: float | None
    first_m: float = 0.0
    instead: Stroke | None = None


@dataclass(frozen=True)
class Tile:
    """A drawing that is repeated over an area, its top to that of the screen: dots look the same a few degrees turned.

    Attributes
    ----------
    tint : a pale colour of the pattern's ink, for readers of styles that take no drawings
    """

    svg: Svg
    tint: str


@dataclass(frozen=True)
class Hatch:
    """Parallel lines over an area, east to west or, upright, towards magnetic north.

    Attributes
    ----------
    svg : Svg
        The lines as a drawing that repeats itself, for a style that has no words for such lines.
    """

    line: Stroke
    every_m: float
    is_upright: bool
    svg: Svg
    tint: str


Paint = Surface | Stroke | Stamp | Along | Tile | Hatch


THIN = 0.5
"""Width of a candidate's lines over those of what is drawn (our choice)."""
SMALL = 0.75
"""Size of a candidate's point symbol over that of what is drawn (our choice)."""


def thin(paint: Paint, /) -> Paint:
    """The paint of a candidate: thinner lines, smaller marks; how pale it is a style says for the whole symbol."""
    if isinstance(paint, Stroke):
        return replace(paint, width_m=THIN * paint.width_m)
    if isinstance(paint, Hatch):
        return replace(paint, line=replace(paint.line, width_m=THIN * paint.line.width_m))
    if isinstance(paint, Stamp):
        svg = paint.svg
        return replace(paint, svg=replace(svg, width_mm=SMALL * svg.width_mm, height_mm=SMALL * svg.height_mm))
    return paint


@functools.cache
def paints_of(symbol: Symbol, kind: Kind, /) -> tuple[Paint, ...]:
    """What a feature of a symbol is drawn with, bottom first.

    Raises
    ------
    KeyError
        If the table names a drawing that is not described here.
    """
    if kind == "point":
        return (_stamp(symbol),)
    return LINES[symbol.drawing](symbol) if kind == "line" else _area(symbol)


# ---------------------------------------------------------------- points

TURNING = ("ellipse", "cave", "spring", "crossing")
"""Drawings that follow the direction of the feature (`pipeline.sheet.symbols.points`)."""
EAST_DEG = 90.0
SHAPES = {
    "dot": "circle",
    "spot_height": "circle",
    "ellipse": "circle",
    "ring": "circle",
    "white_ring": "circle",
    "ringed_dot": "circle",
    "semicircle": "circle",
    "spring": "circle",
    "triangle": "triangle",
    "vee": "triangle",
    "cave": "triangle",
    "rack": "triangle",
    "square": "square",
    "ruin": "square",
    "star": "star",
    "cross": "x",
    "crossing": "x",
    "tower": "cross",
    "small_tower": "cross",
}
"""Drawing of a point symbol -> the plain shape most like it."""
FILLED = ("dot", "spot_height", "ellipse", "triangle")
"""Drawings that are filled; the others are outlines."""


def _stamp(symbol: Symbol) -> Stamp:
    """The symbol as the sheet draws it, the feature's place in the middle of the drawing."""
    is_ellipse = symbol.drawing == "ellipse"
    # An ellipse without a direction lies east to west; drawn upright here, it is turned like the others.
    angle = np.array([0.0 if is_ellipse else np.nan])
    ink = Ink()
    draw_marks(ink, Marks(symbol, "point", np.array([Point(0, 0)], object), angle, np.array([np.nan]), 1.0))
    # A triangle reaches two thirds of its height up from its place; no other drawing reaches further.
    half = 2 / 3 * max(symbol.mm("length_mm"), symbol.mm("width_mm")) + MARK_RIM_MM / 2
    svg = svg_of(ink, Box(-half, -half, 2 * half, 2 * half))
    line_m = 0.0 if symbol.drawing in FILLED else symbol.ground_m("line_mm")
    like = Mark(SHAPES[symbol.drawing], _colour(symbol), line_m, symbol.ground_m("length_mm"))
    return Stamp(svg, like, symbol.drawing in TURNING, EAST_DEG if is_ellipse else 0.0)


# ---------------------------------------------------------------- lines


def _colour(symbol: Symbol) -> str:
    return screen_colour(tint(symbol.ink))


def _line(symbol: Symbol, /, *, dashes_mm: Sequence[float] = (), right_mm: float = 0.0) -> Stroke:
    dashes = tuple(map(ground_m, dashes_mm))
    return Stroke(_colour(symbol), symbol.ground_m("line_mm"), dashes, ground_m(right_mm))


def _dashed(symbol: Symbol) -> Stroke:
    return _line(symbol, dashes_mm=(symbol.mm("dash_mm"), symbol.mm("gap_mm")))


def _double_dashed(symbol: Symbol) -> Stroke:
    dash, gap = symbol.mm("dash_mm"), symbol.mm("gap_mm")
    return _line(symbol, dashes_mm=(dash, gap, dash, symbol.mm("group_gap_mm")))


def _along(ink: Ink, half_mm: float, /, *, every_mm: float | None, first_mm: float = 0.0) -> Along:
    """What was drawn around 0 with the line to the right, as a drawing along a line."""
    half = half_mm + MARK_RIM_MM
    svg = svg_of(ink, Box(-half, -half, 2 * half, 2 * half))
    return Along(svg, None if every_mm is None else ground_m(every_mm), ground_m(first_mm))


def _dots(symbol: Symbol, /, *, every_mm: float, first_mm: float, pair_mm: float = 0.0) -> Along:
    """Dots along the line, or pairs of them."""
    ink, dot = Ink(), symbol.mm("dot_mm")
    places = np.array([[-pair_mm / 2, 0.0], [pair_mm / 2, 0.0]])[: 2 if pair_mm else 1]
    ink.stamp(PLATES[symbol.ink], tint(symbol.ink), CIRCLE, places, size_mm=(dot, dot))
    return _along(ink, pair_mm / 2 + dot / 2, every_mm=every_mm, first_mm=first_mm)


def _dotted(symbol: Symbol) -> Along:
    """Dots alone; short dashes where no dots can be drawn."""
    every, dot_m = symbol.mm("spacing_mm"), symbol.ground_m("dot_mm")
    dashes = Stroke(_colour(symbol), dot_m, (dot_m, ground_m(every) - dot_m))
    return replace(_dots(symbol, every_mm=every, first_mm=0.0), instead=dashes)


def _tags(
    symbol: Symbol,
    /,
    *,
    ends: tuple[tuple[float, float], tuple[float, float]],
    every_mm: float | None,
    first_mm: float = 0.0,
    pair_mm: float = 0.0,
) -> Along:
    """Short strokes along the line, or pairs of them, from one end to the other; to the right of the line is down."""
    shifts = (-pair_mm / 2, pair_mm / 2) if pair_mm else (0.0,)
    strokes = [LineString([(x + shift, y) for x, y in ends]) for shift in shifts]
    # As narrow areas: some renderers of SVG draw no upright line, taking its bounds for empty.
    bars = shapely.buffer(np.array(strokes, object), symbol.mm("tag_mm") / 2, cap_style="flat")
    ink = Ink()
    ink.fill(PLATES[symbol.ink], tint(symbol.ink), bars)
    reach = max(math.hypot(*end) for end in ends) + pair_mm / 2
    return _along(ink, reach, every_mm=every_mm, first_mm=first_mm)


def _downhill(symbol: Symbol) -> tuple[Paint, ...]:
    reach = symbol.mm("line_mm") / 2 + symbol.mm("tag_length_mm")
    first = symbol.mm("tag_mm") / 2
    return (
        _line(symbol),
        _tags(symbol, ends=((0.0, 0.0), (0.0, -reach)), every_mm=symbol.mm("tag_spacing_mm"), first_mm=first),
    )


def _leaning(symbol: Symbol, every_mm: float, first_mm: float, pair_mm: float = 0.0) -> Along:
    length, lean = symbol.mm("tag_length_mm"), math.radians(FENCE_TAG_DEG)
    end = (length * math.cos(lean), -length * math.sin(lean))
    return _tags(symbol, ends=((0.0, 0.0), end), every_mm=every_mm, first_mm=first_mm, pair_mm=pair_mm)


def _bars(symbol: Symbol, length_mm: float, every_mm: float | None, pair_mm: float = 0.0) -> Along:
    half, first = length_mm / 2, every_mm / 2 if every_mm else 0.0
    return _tags(symbol, ends=((0.0, -half), (0.0, half)), every_mm=every_mm, first_mm=first, pair_mm=pair_mm)


def _walled(symbol: Symbol) -> tuple[Paint, ...]:
    every = symbol.mm("spacing_mm")
    pair = symbol.mm("group_gap_mm") if symbol.drawing == "double_wall" else 0.0
    return (_line(symbol), _dots(symbol, every_mm=every, first_mm=every / 2, pair_mm=pair))


def _ruined_wall(symbol: Symbol) -> tuple[Paint, ...]:
    dash, gap = symbol.mm("dash_mm"), symbol.mm("gap_mm")
    return (_dashed(symbol), _dots(symbol, every_mm=dash + gap, first_mm=dash / 2))


def _fenced(symbol: Symbol) -> tuple[Paint, ...]:
    every = symbol.mm("tag_spacing_mm")
    pair = symbol.mm("group_gap_mm") if symbol.drawing == "double_fence" else 0.0
    return (_line(symbol), _leaning(symbol, every, every / 2, pair))


def _ruined_fence(symbol: Symbol) -> tuple[Paint, ...]:
    dash, gap = symbol.mm("dash_mm"), symbol.mm("gap_mm")
    return (_dashed(symbol), _leaning(symbol, dash + gap, dash / 2))


def _barred(symbol: Symbol) -> tuple[Paint, ...]:
    pair = symbol.mm("group_gap_mm") if symbol.drawing == "double_barred" else 0.0
    return (_line(symbol), _bars(symbol, symbol.mm("tag_length_mm"), symbol.mm("tag_spacing_mm"), pair))


def _two_lines(symbol: Symbol) -> tuple[Paint, ...]:
    half = symbol.mm("width_mm") / 2
    return (_line(symbol, right_mm=half), _line(symbol, right_mm=-half))


def _stairs(symbol: Symbol) -> tuple[Paint, ...]:
    return (*_two_lines(symbol), _bars(symbol, symbol.mm("width_mm"), symbol.mm("tag_spacing_mm")))


def _wires(symbol: Symbol) -> tuple[Paint, ...]:
    lines = _two_lines(symbol) if symbol.drawing == "double_power_line" else (_line(symbol),)
    return (*lines, _bars(symbol, symbol.mm("tag_length_mm"), None))


def _gully(symbol: Symbol) -> tuple[Paint, ...]:
    """Ends are rounded here, where the sheet lets them taper: no style can do that."""
    return (Stroke(_colour(symbol), symbol.ground_m("line_mm"), is_round=True),)


def _ride(symbol: Symbol) -> tuple[Paint, ...]:
    if not symbol.fill:
        return (_dashed(symbol),)
    band = screen_colour(tint(symbol.fill, symbol.mm("fill_pct")))
    return (Stroke(band, symbol.ground_m("width_mm")), _dashed(symbol))


def _road(symbol: Symbol) -> tuple[Paint, ...]:
    """A line as wide as the road and its edges, and over it the road."""
    edge, width = symbol.ground_m("edge_mm"), symbol.ground_m("width_mm")
    return (
        Stroke(screen_colour(tint(symbol.edge)), width + 2 * edge),
        Stroke(screen_colour(tint(symbol.fill, symbol.mm("fill_pct"))), width),
    )


def _railway(symbol: Symbol) -> tuple[Paint, ...]:
    gap, dash = symbol.ground_m("gap_mm"), symbol.ground_m("dash_mm")
    return (_line(symbol), Stroke(screen_colour(tint("white")), symbol.ground_m("width_mm"), (gap, dash)))


LINES: dict[str, Callable[[Symbol], tuple[Paint, ...]]] = {
    "line": lambda symbol: (_line(symbol),),
    "dashes": lambda symbol: (_dashed(symbol),),
    "double_dashes": lambda symbol: (_double_dashed(symbol),),
    "dots": lambda symbol: (_dotted(symbol),),
    "tagged": _downhill,
    "wall": _walled,
    "double_wall": _walled,
    "ruined_wall": _ruined_wall,
    "gully": _gully,
    "ride": _ride,
    "road": _road,
    "railway": _railway,
    "power_line": _wires,
    "double_power_line": _wires,
    "bridge": _two_lines,
    "fence": _fenced,
    "ruined_fence": _ruined_fence,
    "double_fence": _fenced,
    "barred": _barred,
    "double_barred": _barred,
    "stairway": _stairs,
}

# ---------------------------------------------------------------- areas


PALE_PCT = 25.0
"""Share of the ink, in percent, that stands for a pattern where none can be drawn (our choice)."""


def _area(symbol: Symbol) -> tuple[Paint, ...]:
    paints: list[Paint] = []
    pale = screen_colour(tint(symbol.ink.partition(" ")[0], PALE_PCT)) if symbol.ink else ""
    if symbol.fill:
        pale = screen_colour(tint(symbol.fill, symbol.mm("fill_pct")))
        paints.append(Surface(pale))
    if symbol.drawing in HATCHES:
        line = Stroke(_colour(symbol), symbol.ground_m("line_mm"))
        upright = symbol.drawing.startswith("north")
        paints.append(Hatch(line, symbol.ground_m("spacing_mm"), upright, _tile(symbol), pale))
    elif symbol.drawing in PERIOD_MM:
        paints.append(Tile(_tile(symbol), pale))
    if symbol.edge:
        dashes = (symbol.ground_m("dash_mm"), symbol.ground_m("gap_mm")) if symbol.drawing == "ruin" else ()
        paints.append(Stroke(screen_colour(tint(symbol.edge)), symbol.ground_m("edge_mm"), dashes))
    return tuple(paints)


def _dash_period(symbol: Symbol) -> float:
    return symbol.mm("dash_mm") + symbol.mm("gap_mm")


PERIOD_MM: dict[str, Callable[[Symbol], tuple[float, float]]] = {
    "north_south_lines": lambda symbol: (symbol.mm("spacing_mm"), symbol.mm("spacing_mm")),
    "east_west_lines": lambda symbol: (symbol.mm("spacing_mm"), symbol.mm("spacing_mm")),
    # Every second line of dashes is shifted by half a step.
    "north_south_dashes": lambda symbol: (2 * symbol.mm("spacing_mm"), _dash_period(symbol)),
    "east_west_dashes": lambda symbol: (_dash_period(symbol), 2 * symbol.mm("spacing_mm")),
    # A square grid turned by 45 degrees is the same again after a diagonal.
    "gridded_dots": lambda symbol: (math.sqrt(2) * symbol.mm("spacing_mm"), math.sqrt(2) * symbol.mm("spacing_mm")),
    "scattered_dots": lambda symbol: (SCATTER_TILE * symbol.mm("spacing_mm"), SCATTER_TILE * symbol.mm("spacing_mm")),
    "scattered_triangles": lambda symbol: (
        SCATTER_TILE * symbol.mm("spacing_mm"),
        SCATTER_TILE * symbol.mm("spacing_mm"),
    ),
}
"""Drawing of an area -> after how many millimetres, to the right and up, its pattern is the same again."""


HATCHES = ("north_south_lines", "east_west_lines")


def _tile(symbol: Symbol) -> Svg:
    """The pattern as the sheet draws it, cut out of a larger area where it repeats itself."""
    right, up = PERIOD_MM[symbol.drawing](symbol)
    times = 1 if symbol.drawing.startswith("scattered") else PERIODS
    right, up = times * right, times * up
    # Half a step off the origin, so that no dot or line lies on the cut.
    left, bottom = (symbol.mm("spacing_mm") / 4,) * 2
    window = shapely.box(left, bottom, left + right, bottom + up)
    around = shapely.buffer(window, 3 * symbol.mm("spacing_mm"), join_style="mitre")
    nothing = np.array([np.nan])
    # The pattern alone: surface and edge are paints of their own.
    bare = replace(symbol, fill="", edge="")
    ink = Ink()
    draw_marks(ink, Marks(bare, "area", np.array([around], object), nothing, nothing, 1.0))
    return svg_of(ink, Box(left, bottom, right, up))
