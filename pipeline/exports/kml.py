"""The draft as KML 2.2 with its icons, for a KMZ: what phones and globes show.

A folder a layer, a placemark a feature. Lines and areas have the norm's colours and about its widths; KML knows no
dashes and no patterns, so areas of dots and lines are a pale tint of their ink. Source: OGC KML 2.2 (07-147r2).
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from xml.etree import ElementTree as Xml

import geopandas as gpd
import numpy as np
import pypdfium2
import shapely
from affine import Affine
from PIL import Image
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from pipeline.exports.degrees import DECIMALS, in_degrees
from pipeline.exports.styles.rules import CANDIDATE, REJECTED
from pipeline.exports.styles.screen import screen_colour
from pipeline.exports.told import Told
from pipeline.norm.symbols import KIND_OF_GEOMETRY, Kind, Symbol, SymbolTable
from pipeline.sheet.page.colours import tint
from pipeline.sheet.page.ink import Ink
from pipeline.sheet.page.page import Box
from pipeline.sheet.page.pdf import Book
from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.symbol import draw_marks

NAMESPACE = "http://www.opengis.net/kml/2.2"
ICON_MM, ICON_PX = 2.0, 64
"""Side of an icon at 1:15 000, which holds the largest symbol (a high tower, 1.4 mm), and in pixels."""
PX_PER_MM = 8.0
"""Width of a line on a screen for a millimetre of the norm: a contour is one pixel wide (our choice)."""
OPAQUE, PALE, PATTERN = 1.0, 0.5, 0.25
"""How much of the ground a drawn feature, a candidate, and a pattern of dots or lines cover."""


def icon_name(number: str, /) -> str:
    """Where in a KMZ the icon of a point symbol lies."""
    return f"icons/{number}.png"


def kml_text(layers: Mapping[str, gpd.GeoDataFrame], /, *, symbols: SymbolTable, told: Told) -> str:
    """The document.

    Raises
    ------
    KeyError
        If a feature has a symbol the table does not know.
    """
    Xml.register_namespace("", NAMESPACE)
    root = Xml.Element(f"{{{NAMESPACE}}}kml")
    document = _child(root, "Document")
    _child(document, "name", told.title)
    _child(document, "description", told.text)
    degrees = in_degrees(layers)
    styles = {
        (str(number), status == CANDIDATE, KIND_OF_GEOMETRY[place.geom_type])
        for table in degrees.values()
        for number, status, place in zip(table["symbol"], table["status"], table.geometry, strict=True)
    }
    for number, is_candidate, kind in sorted(styles):
        _style(document, symbols[number], number, is_candidate, kind)
    for name, table in degrees.items():
        folder = _child(document, "Folder")
        _child(folder, "name", name)
        for row in table.itertuples():
            _placemark(folder, row._asdict(), symbols)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + Xml.tostring(root, encoding="unicode") + "\n"


def icons(layers: Mapping[str, gpd.GeoDataFrame], /, *, symbols: SymbolTable) -> dict[str, bytes]:
    """PNG of each point symbol that is there, by its name in the KMZ."""
    numbers = {str(number) for name, table in layers.items() if name.endswith("_point") for number in table["symbol"]}
    return {icon_name(number): icon(symbols[number]) for number in sorted(numbers)}


def icon(symbol: Symbol, /) -> bytes:
    """A point symbol as the sheet draws it, on clear ground, as PNG."""
    ink, nothing = Ink(), np.array([np.nan])
    draw_marks(ink, Marks(symbol, "point", np.array([Point(ICON_MM / 2, ICON_MM / 2)], object), nothing, nothing, 1.0))
    book = Book(title=symbol.number, subject="")
    book.begin_page(ICON_MM, ICON_MM)
    book.place(book.add_plates("icon", ink, Box(0.0, 0.0, ICON_MM, ICON_MM)), Affine.identity())
    book.end_page()
    with pypdfium2.PdfDocument(io.BytesIO(book.finished())) as document:
        px_per_pt = ICON_PX / document[0].get_width()
        picture = document[0].render(scale=px_per_pt, fill_color=(255, 255, 255, 0), rev_byteorder=True).to_numpy()
    target = io.BytesIO()
    Image.fromarray(np.array(picture)).save(target, "PNG", optimize=True)
    return target.getvalue()


# ---------------------------------------------------------------- styles


def _style_name(number: str, is_candidate: bool, kind: Kind) -> str:
    return f"{kind}-{number}{'-candidate' if is_candidate else ''}"


def _style(parent: Xml.Element, symbol: Symbol, number: str, is_candidate: bool, kind: Kind) -> None:
    """How the features of one symbol look."""
    style = _child(parent, "Style")
    style.set("id", _style_name(number, is_candidate, kind))
    share = PALE if is_candidate else OPAQUE
    ink = symbol.ink.partition(" ")[0]
    if kind == "point":
        element = _child(style, "IconStyle")
        _child(element, "color", _colour("#ffffff", share))
        _child(_child(element, "Icon"), "href", icon_name(number))
    elif kind == "line":
        line = symbol.mm("line_mm" if symbol.has("line_mm") else "dot_mm" if symbol.has("dot_mm") else "width_mm")
        _line_style(style, screen_colour(tint(ink)), share, line)
    else:
        if symbol.edge:
            _line_style(style, screen_colour(tint(symbol.edge)), share, symbol.mm("edge_mm"))
        element = _child(style, "PolyStyle")
        if symbol.fill:
            colour = screen_colour(tint(symbol.fill, symbol.mm("fill_pct")))
            _child(element, "color", _colour(colour, share))
        elif ink:
            _child(element, "color", _colour(screen_colour(tint(ink)), share * PATTERN))
        _child(element, "fill", str(int(bool(symbol.fill or ink))))
        _child(element, "outline", str(int(bool(symbol.edge))))


def _line_style(style: Xml.Element, colour: str, share: float, line_mm: float) -> None:
    element = _child(style, "LineStyle")
    _child(element, "color", _colour(colour, share))
    _child(element, "width", f"{max(line_mm * PX_PER_MM, 1.0):.1f}")


def _colour(colour: str, share: float) -> str:
    """KML counts the other way round: cover, blue, green, red."""
    red, green, blue = colour[1:3], colour[3:5], colour[5:7]
    return f"{round(255 * share):02x}{blue}{green}{red}"


# ---------------------------------------------------------------- features

DATA = ("id", "symbol", "status", "confidence", "elevation_m", "height_m", "width_m", "angle_deg", "origin")
"""Columns of the draft that a placemark carries beside its name and its evidence."""


def _placemark(parent: Xml.Element, row: Mapping[str, object], symbols: SymbolTable) -> None:
    place, number, status = row["geometry"], str(row["symbol"]), row["status"]
    assert isinstance(place, BaseGeometry)
    element = _child(parent, "Placemark")
    _child(element, "name", f"{number} {symbols.name_of(number)}")
    if status == REJECTED:
        _child(element, "visibility", "0")
    _child(element, "description", str(row.get("evidence") or ""))
    _child(element, "styleUrl", f"#{_style_name(number, status == CANDIDATE, KIND_OF_GEOMETRY[place.geom_type])}")
    data = _child(element, "ExtendedData")
    for name in DATA:
        value = row.get(name)
        if value is not None and value == value:
            one = _child(data, "Data")
            one.set("name", name)
            _child(one, "value", str(value))
    _geometry(element, place)


def _geometry(parent: Xml.Element, place: BaseGeometry) -> None:
    """A point, a line or an area with its holes."""
    if place.geom_type == "Polygon":
        element = _child(parent, "Polygon")
        rings = shapely.get_rings(np.array([place], object))
        for depth, ring in enumerate(rings):
            boundary = _child(element, "innerBoundaryIs" if depth else "outerBoundaryIs")
            _child(_child(boundary, "LinearRing"), "coordinates", _coordinates(ring))
    else:
        _child(_child(parent, place.geom_type), "coordinates", _coordinates(place))


def _coordinates(place: BaseGeometry) -> str:
    return " ".join(f"{x:.{DECIMALS}f},{y:.{DECIMALS}f}" for x, y in shapely.get_coordinates(place).tolist())


def _child(parent: Xml.Element, name: str, words: str | None = None) -> Xml.Element:
    element = Xml.SubElement(parent, f"{{{NAMESPACE}}}{name}")
    element.text = words
    return element
