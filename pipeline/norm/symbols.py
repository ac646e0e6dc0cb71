"""The symbol table: what every symbol of ISOM 2017-2 is called, how big it is drawn, and how small it may be.

The figures are those of the International Specification for Orienteering Maps, ISOM 2017-2 (IOF Map Commission),
in millimetres at 1:15 000. Each carries a mark that says how sure it is:

- `read`: read in the norm's own wiki or errata; `read-2017`, `read-2000`: read in an earlier edition and believed
  unchanged; `read-xsp`: read in the sister norm for sprint maps and believed equal;
- `memory`, `memory-low`: recalled, not seen; the latter doubtful;
- `derived`: arithmetic on figures of the norm.

The table is text (`config/symbols.csv`): a row a symbol, a figure written as `0.14 read-2000`.
"""

from __future__ import annotations

import csv
import functools
import io
import math
from dataclasses import dataclass, field
from typing import Literal, TypeVar, get_args

from shapely.geometry.base import BaseGeometry

from pipeline.errors import SettingsError
from pipeline.norm.paper import ground_m, ground_m2
from pipeline.shipped import SYMBOLS

Sureness = Literal["read", "read-2017", "read-2000", "read-xsp", "memory", "memory-low", "derived"]
Section = Literal["landform", "rock", "water", "vegetation", "manmade", "technical"]
Kind = Literal["point", "line", "area"]
Choice = TypeVar("Choice", bound=str)
KIND_OF_GEOMETRY: dict[str, Kind] = {
    "Point": "point",
    "MultiPoint": "point",
    "LineString": "line",
    "LinearRing": "line",
    "MultiLineString": "line",
    "Polygon": "area",
    "MultiPolygon": "area",
}
TEXTS = ("number", "name", "section", "geometry", "drawing", "ink", "fill", "edge", "remark")
FIGURES = (
    "line_mm",
    "dash_mm",
    "gap_mm",
    "group_gap_mm",
    "dot_mm",
    "spacing_mm",
    "density_per_mm2",
    "tag_mm",
    "tag_length_mm",
    "tag_spacing_mm",
    "length_mm",
    "width_mm",
    "fill_pct",
    "edge_mm",
    "min_length_mm",
    "min_width_mm",
    "min_breadth_mm",
    "min_area_mm2",
    "min_opening_mm2",
    "min_count",
    "min_height_m",
    "min_gap_mm",
    "min_bend_mm",
    "min_mouth_mm",
    "min_hill_length_mm",
    "min_hill_width_mm",
    "min_hollow_length_mm",
    "min_hollow_width_mm",
    "max_width_m",
)
"""Columns of the table that hold figures. The smallest hill and hollow that a closed line may show are measured over
all; the smallest bend, and the mouth of a spur or re-entrant, from middle to middle of the line; the least gap is the
white between two such symbols. An area keeps its least width everywhere, its least breadth at its widest place, and
the least opening is a hole in it that is left white."""


@dataclass(frozen=True)
class Figure:
    """A figure of the norm and how sure it is."""

    value: float
    sure: Sureness


@dataclass(frozen=True)
class SmallestSize:
    """The least a feature may measure on the ground to be drawn; NaN where the norm gives no figure."""

    length_m: float
    width_m: float
    area_m2: float
    height_m: float


@dataclass(frozen=True)
class Symbol:
    """One symbol of the norm: its name, how it is drawn, and its figures at 1:15 000.

    Attributes
    ----------
    drawing : str
        The way it is drawn (`line`, `dashes`, `tagged`, `scattered_dots`, ...); a key of `pipeline.sheet.drawing`.
    ink, fill, edge : str
        Colours of the lines and dots, of the surface, and of the outline; empty where it has none.
    order : int
        Place in the order of printing, bottom first.
    figures : dict of column name -> Figure
    """

    number: str
    name: str
    section: Section
    kinds: tuple[Kind, ...]
    drawing: str
    ink: str
    fill: str
    edge: str
    order: int
    remark: str
    figures: dict[str, Figure] = field(hash=False)

    def mm(self, figure: str, /) -> float:
        """A figure's value as the norm gives it.

        Raises
        ------
        KeyError
            If the table has no such figure for this symbol.
        """
        try:
            return self.figures[figure].value
        except KeyError:
            raise KeyError(f"symbol {self.number} ({self.name}) has no {figure} in the symbol table") from None

    def has(self, figure: str, /) -> bool:
        """Whether the table gives that figure for this symbol."""
        return figure in self.figures

    @property
    def smallest(self) -> SmallestSize:
        """Smallest size on the ground, from the millimetres at 1:15 000."""

        def figure(name: str) -> float:
            return self.figures[name].value if name in self.figures else math.nan

        return SmallestSize(
            length_m=ground_m(figure("min_length_mm")),
            width_m=ground_m(figure("min_width_mm")),
            area_m2=ground_m2(figure("min_area_mm2")),
            height_m=figure("min_height_m"),
        )

    @property
    def max_width_m(self) -> float:
        """Real width of the widest feature that this symbol stands for; NaN where the norm gives none."""
        return self.figures["max_width_m"].value if self.has("max_width_m") else math.nan

    def ground_m(self, figure: str, /) -> float:
        """Metres on the ground that a length of the symbol covers.

        Raises
        ------
        KeyError
            If the table has no such figure for this symbol.
        """
        return ground_m(self.mm(figure))

    @property
    def footprint_m(self) -> tuple[float, float]:
        """Length and width a point symbol covers on the ground; NaN for lines and areas."""
        if "point" not in self.kinds:
            return math.nan, math.nan
        return self.ground_m("length_mm"), self.ground_m("width_mm")


@dataclass(frozen=True)
class SymbolTable:
    """All symbols by number. A sub-number the table does not list is drawn and named like its main number."""

    rows: dict[str, Symbol]

    def __getitem__(self, number: str) -> Symbol:
        found = self.rows.get(number) or self.rows.get(number.partition(".")[0])
        if found is None:
            raise KeyError(f"'{number}' is not a symbol of the symbol table")
        return found

    def __contains__(self, number: str) -> bool:
        return number in self.rows or number.partition(".")[0] in self.rows

    def name_of(self, number: str, /) -> str:
        """The standard's name of a symbol."""
        return self[number].name

    def layer_of(self, number: str, geometry: BaseGeometry, /) -> str:
        """The layer of the draft a feature belongs to, such as `landform_line` or `rock_point`.

        Raises
        ------
        KeyError
            If the symbol is unknown.
        ValueError
            If the norm does not draw this symbol with such a geometry.
        """
        symbol = self[number]
        kind = KIND_OF_GEOMETRY.get(geometry.geom_type)
        if kind is None or kind not in symbol.kinds:
            raise ValueError(f"symbol {number} is drawn as {' or '.join(symbol.kinds)}, not as {geometry.geom_type}")
        return f"{symbol.section}_{kind}"

    def smallest(self, number: str, /) -> SmallestSize:
        """Smallest size of a symbol on the ground, in metres and square metres."""
        return self[number].smallest

    def drawing_order(self, number: str, /) -> int:
        """Place of a symbol in the order of printing, bottom first."""
        return self[number].order


@functools.cache
def norm_table() -> SymbolTable:
    """All symbols of the norm, as `config/symbols.csv` has them; read once.

    Raises
    ------
    SettingsError
        If the table was edited into something that cannot be read.
    """
    try:
        return symbol_table(SYMBOLS.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, SettingsError) as error:
        raise SettingsError(f"{SYMBOLS}: cannot be read as the table of the norm: {error}") from error


def isom(number: str, /) -> Symbol:
    """A symbol of ISOM 2017-2 with its figures.

    Raises
    ------
    KeyError
        If the norm has no such symbol.
    """
    return norm_table()[number]


def symbol_table(text: str, /) -> SymbolTable:
    """The symbol table of the text of `config/symbols.csv`.

    Raises
    ------
    SettingsError
        Naming the line and what does not fit.
    """
    reader = csv.DictReader(io.StringIO(text))
    wanted = {*TEXTS, *FIGURES, "order"}
    found = set(reader.fieldnames or ())
    if found != wanted:
        raise SettingsError(
            f"symbol table: columns missing {sorted(wanted - found)}, columns unknown {sorted(found - wanted)}"
        )
    rows: dict[str, Symbol] = {}
    for row in reader:
        symbol = _symbol_of(row, line=reader.line_num)
        if symbol.number in rows:
            raise SettingsError(f"symbol table, line {reader.line_num}: symbol {symbol.number} stands there twice")
        rows[symbol.number] = symbol
    return SymbolTable(rows)


def _symbol_of(row: dict[str, str], *, line: int) -> Symbol:
    try:
        kinds = tuple(_one_of(kind, get_args(Kind)) for kind in row["geometry"].split("+"))
        return Symbol(
            number=row["number"],
            name=row["name"],
            section=_one_of(row["section"], get_args(Section)),
            kinds=kinds,
            drawing=row["drawing"],
            ink=row["ink"],
            fill=row["fill"],
            edge=row["edge"],
            order=int(row["order"]),
            remark=row["remark"],
            figures={column: _figure_of(row[column]) for column in FIGURES if row[column]},
        )
    except (ValueError, AttributeError) as error:
        raise SettingsError(f"symbol table, line {line} (symbol {row['number']}): {error}") from error


def _figure_of(cell: str) -> Figure:
    value, _, sure = cell.partition(" ")
    number = float(value)
    if not (math.isfinite(number) and number > 0):
        raise ValueError(f"a figure must be greater than 0, not '{cell}'")
    return Figure(number, _one_of(sure, get_args(Sureness)))


def _one_of(text: str, allowed: tuple[Choice, ...]) -> Choice:
    for choice in allowed:
        if choice == text:
            return choice
    raise ValueError(f"'{text}' is none of {', '.join(allowed)}")
