"""Styles as Styled Layer Descriptors: OGC SLD 1.1.0 (05-078r4) with Symbology Encoding 1.1.0 (05-077r4).

Sizes are in metres on the ground, by the unit that Symbology Encoding names for it. What the specification has no words
for is left out: marks at the bends of a line (pylons), and patterns turned to magnetic north.
"""

from __future__ import annotations

from xml.etree import ElementTree as Xml

from pipeline.exports.styles.paints import Along, Mark, Paint, Stamp, Stroke, Surface
from pipeline.exports.styles.rules import CANDIDATE, REJECTED, Rule, rules_of
from pipeline.exports.styles.svg import Svg
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import SymbolTable

SLD, SE = "http://www.opengis.net/sld", "http://www.opengis.net/se"
OGC = "http://www.opengis.net/ogc"
METRE = "http://www.opengeospatial.org/se/units/metre"
"""The unit of all sizes (Symbology Encoding 1.1.0, 10.2)."""
PREFIXES = {"sld": SLD, "se": SE, "ogc": OGC}


def sld_style(layer: str, /, *, symbols: SymbolTable, north_deg: float) -> str:
    """The style of a layer of the draft.

    Parameters
    ----------
    north_deg : magnetic north, clockwise from grid north
        Point symbols stand upright when the map is turned so that magnetic north is up.
    """
    for prefix, space in PREFIXES.items():
        Xml.register_namespace(prefix, space)
    root = Xml.Element(f"{{{SLD}}}StyledLayerDescriptor", version="1.1.0")
    named = Xml.SubElement(root, f"{{{SLD}}}NamedLayer")
    _text(named, "Name", layer)
    user = Xml.SubElement(named, f"{{{SLD}}}UserStyle")
    _text(user, "Name", "ISOM 2017-2")
    kind = Xml.SubElement(user, f"{{{SE}}}FeatureTypeStyle")
    # Rules are drawn in this order, the last on top (Symbology Encoding 1.1.0, 8).
    for rule in sorted(rules_of(layer, symbols), key=lambda rule: (rule.order, not rule.is_candidate)):
        _rule(kind, rule, layer.rpartition("_")[2], north_deg)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + Xml.tostring(root, encoding="unicode")


def _rule(parent: Xml.Element, rule: Rule, kind: str, north_deg: float) -> None:
    element = Xml.SubElement(parent, f"{{{SE}}}Rule")
    _text(element, "Name", rule.label)
    condition = Xml.SubElement(Xml.SubElement(element, f"{{{OGC}}}Filter"), f"{{{OGC}}}And")
    _equal(condition, "symbol", rule.number)
    if rule.is_candidate:
        _equal(condition, "status", CANDIDATE)
    else:
        others = Xml.SubElement(Xml.SubElement(condition, f"{{{OGC}}}Not"), f"{{{OGC}}}Or")
        _equal(others, "status", CANDIDATE)
        _equal(others, "status", REJECTED)
    for paint in rule.paints:
        _symbolizer(element, paint, kind, rule.opacity, north_deg)


def _equal(parent: Xml.Element, column: str, value: str) -> None:
    element = Xml.SubElement(parent, f"{{{OGC}}}PropertyIsEqualTo")
    Xml.SubElement(element, f"{{{OGC}}}PropertyName").text = column
    Xml.SubElement(element, f"{{{OGC}}}Literal").text = value


def _symbolizer(parent: Xml.Element, paint: Paint, kind: str, opacity: float, north_deg: float) -> None:
    """One layer of a symbol; what the specification cannot say is left out."""
    if isinstance(paint, Surface):
        polygon = Xml.SubElement(parent, f"{{{SE}}}PolygonSymbolizer", uom=METRE)
        fill = Xml.SubElement(polygon, f"{{{SE}}}Fill")
        _parameter(fill, "fill", paint.colour)
        _parameter(fill, "fill-opacity", f"{opacity:g}")
    elif isinstance(paint, Stroke):
        name = "PolygonSymbolizer" if kind == "area" else "LineSymbolizer"
        line = Xml.SubElement(parent, f"{{{SE}}}{name}", uom=METRE)
        _pen(Xml.SubElement(line, f"{{{SE}}}Stroke"), paint, opacity)
        if paint.right_m:
            # Counted to the left of the line (Symbology Encoding 1.1.0, 11.1.4).
            _text(line, "PerpendicularOffset", f"{-paint.right_m:.4f}")
    elif isinstance(paint, Stamp):
        point = Xml.SubElement(parent, f"{{{SE}}}PointSymbolizer", uom=METRE)
        _turned(_graphic(point, paint.svg, opacity, like=paint.like), paint, north_deg)
    elif isinstance(paint, Along):
        if paint.every_m is not None:
            _marks(parent, paint, opacity)
    else:
        polygon = Xml.SubElement(parent, f"{{{SE}}}PolygonSymbolizer", uom=METRE)
        fill = Xml.SubElement(polygon, f"{{{SE}}}Fill")
        _graphic(Xml.SubElement(fill, f"{{{SE}}}GraphicFill"), paint.svg, opacity)
        # For a reader that takes no drawings.
        _parameter(fill, "fill", paint.tint)


def _pen(parent: Xml.Element, paint: Stroke, opacity: float) -> None:
    _parameter(parent, "stroke", paint.colour)
    _parameter(parent, "stroke-opacity", f"{opacity:g}")
    _parameter(parent, "stroke-width", f"{paint.width_m:.4f}")
    _parameter(parent, "stroke-linejoin", "round")
    _parameter(parent, "stroke-linecap", "round" if paint.is_round else "butt")
    if paint.dashes_m:
        _parameter(parent, "stroke-dasharray", " ".join(f"{part:.4f}" for part in paint.dashes_m))


def _marks(parent: Xml.Element, paint: Along, opacity: float) -> None:
    """A drawing repeated along a line: its own width, then a gap."""
    line = Xml.SubElement(parent, f"{{{SE}}}LineSymbolizer", uom=METRE)
    element = Xml.SubElement(line, f"{{{SE}}}Stroke")
    stroke = Xml.SubElement(element, f"{{{SE}}}GraphicStroke")
    _graphic(stroke, paint.svg, opacity)
    width_m = ground_m(paint.svg.width_mm)
    _text(stroke, "InitialGap", f"{max(paint.first_m - width_m / 2, 0.0):.4f}")
    _text(stroke, "Gap", f"{max((paint.every_m or 0.0) - width_m, 0.0):.4f}")
    if paint.instead is not None:
        _pen(element, paint.instead, opacity)


def _graphic(parent: Xml.Element, svg: Svg, opacity: float, *, like: Mark | None = None) -> Xml.Element:
    """A drawing that travels inside the style; its size is its height.

    A plain shape may follow: a reader takes the first that it can draw (Symbology Encoding 1.1.0, 11.3.2).
    """
    graphic = Xml.SubElement(parent, f"{{{SE}}}Graphic")
    external = Xml.SubElement(graphic, f"{{{SE}}}ExternalGraphic")
    Xml.SubElement(external, f"{{{SE}}}InlineContent", encoding="base64").text = svg.base64
    _text(external, "Format", "image/svg+xml")
    if like is not None:
        _mark(graphic, like)
    _text(graphic, "Opacity", f"{opacity:g}")
    _text(graphic, "Size", f"{ground_m(svg.height_mm):.4f}")
    return graphic


def _mark(graphic: Xml.Element, like: Mark) -> None:
    mark = Xml.SubElement(graphic, f"{{{SE}}}Mark")
    _text(mark, "WellKnownName", like.name)
    if like.line_m:
        stroke = Xml.SubElement(mark, f"{{{SE}}}Stroke")
        _parameter(stroke, "stroke", like.colour)
        _parameter(stroke, "stroke-width", f"{like.line_m:.4f}")
    else:
        _parameter(Xml.SubElement(mark, f"{{{SE}}}Fill"), "fill", like.colour)


def _turned(graphic: Xml.Element, paint: Stamp, north_deg: float) -> None:
    """Turned clockwise, with the feature's own direction where the symbol follows one."""
    rotation = Xml.SubElement(graphic, f"{{{SE}}}Rotation")
    if not paint.turns:
        rotation.text = f"{north_deg:.4f}"
        return
    add = Xml.SubElement(rotation, f"{{{OGC}}}Add")
    Xml.SubElement(add, f"{{{OGC}}}PropertyName").text = "angle_deg"
    Xml.SubElement(add, f"{{{OGC}}}Literal").text = f"{north_deg:.4f}"


def _parameter(parent: Xml.Element, name: str, value: str) -> None:
    Xml.SubElement(parent, f"{{{SE}}}SvgParameter", name=name).text = value


def _text(parent: Xml.Element, name: str, value: str) -> None:
    Xml.SubElement(parent, f"{{{SE}}}{name}").text = value
