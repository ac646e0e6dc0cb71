"""Styles as QML: rules, and for each a symbol of layers, with sizes in metres on the ground.

Written as version 3.22 of the reading program writes it (the names of layers and options are from memory and tried
with that version).
"""

from __future__ import annotations

from collections.abc import Mapping
from xml.etree import ElementTree as Xml

from pipeline.exports.styles.paints import Along, Hatch, Paint, Stamp, Stroke, Surface
from pipeline.exports.styles.rules import CANDIDATE, Rule, rules_of
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import SymbolTable

UNIT = "RenderMetersInMapUnits"
"""Metres on the ground, in whatever coordinate system the map is shown."""
IN_PATTERNS = "MapUnit"
"""The unit of lines inside a pattern, where version 3.22 draws none that is measured in the other unit."""
SYMBOL_TYPES = {"point": "marker", "line": "line", "area": "fill"}
EXPRESSION = "3"
"""Number of the kind of a value that an expression gives."""
MULTIPLY = "6"
"""Number of the mode that multiplies colours, as printing inks do."""


def qml_style(layer: str, /, *, symbols: SymbolTable, north_deg: float) -> str:
    """The style of a layer of the draft.

    Parameters
    ----------
    north_deg : magnetic north, clockwise from grid north
        Symbols and patterns stand upright when the map is turned so that magnetic north is up.
    """
    root = Xml.Element("qgis", version="3.22.0", styleCategories="Symbology")
    renderer = Xml.SubElement(root, "renderer-v2", type="RuleRenderer", symbollevels="1", enableorderby="0")
    rules = Xml.SubElement(renderer, "rules", key="all")
    drawn = Xml.SubElement(renderer, "symbols")
    kind = SYMBOL_TYPES[layer.rpartition("_")[2]]
    for place, rule in enumerate(rules_of(layer, symbols)):
        # An id of its own and the same in every run: what it is called does not matter.
        Xml.SubElement(rules, "rule", key=f"rule{place}", symbol=str(place), label=rule.label, filter=filter_text(rule))
        _symbol(drawn, str(place), kind, rule, north_deg)
    # Contours darken the green below them as printing inks do.
    Xml.SubElement(root, "blendMode").text = MULTIPLY if layer.startswith("landform") else "0"
    return "<!DOCTYPE qgis>\n" + Xml.tostring(root, encoding="unicode")


def filter_text(rule: Rule, /) -> str:
    """Which features a rule is for, as an SQL condition."""
    status = f"= '{CANDIDATE}'" if rule.is_candidate else "NOT IN ('candidate', 'rejected')"
    return f"\"symbol\" = '{rule.number}' AND coalesce(\"status\", '') {status}"


def _symbol(parent: Xml.Element, name: str, kind: str, rule: Rule, north_deg: float) -> None:
    element = Xml.SubElement(
        parent, "symbol", type=kind, name=name, alpha=f"{rule.opacity:g}", clip_to_extent="1", force_rhr="0"
    )
    for place, paint in enumerate(rule.paints):
        _layer(element, f"@{name}@{place}", paint, rule.order, north_deg)


def _layer(parent: Xml.Element, name: str, paint: Paint, order: int, north_deg: float) -> None:
    """One layer of a symbol."""
    if isinstance(paint, Surface):
        _add(parent, "SimpleFill", order, {"color": _rgb(paint.colour), "style": "solid", "outline_style": "no"})
    elif isinstance(paint, Stroke):
        _stroke(parent, paint, order)
    elif isinstance(paint, Stamp):
        own = f'coalesce("angle_deg", {paint.without_angle_deg:g}) + {north_deg:.4f}'
        by_feature = {"angle": own} if paint.turns else {}
        _add(parent, "SvgMarker", order, _svg(paint) | {"angle": f"{north_deg:.4f}"}, **by_feature)
    elif isinstance(paint, Along):
        _along(parent, name, paint, order)
    elif isinstance(paint, Hatch):
        # Counted counter-clockwise from the east, and on the screen: patterns do not turn with the map.
        turn = f"{90.0 * paint.is_upright - north_deg:.4f}"
        options = {"angle": turn, "distance": f"{paint.every_m:.4f}", "distance_unit": UNIT}
        element = _add(parent, "LinePatternFill", order, options, lineAngle=f"{turn} - @map_rotation")
        line = Xml.SubElement(element, "symbol", type="line", name=name, alpha="1", clip_to_extent="1")
        _stroke(line, paint.line, 0, unit=IN_PATTERNS)
    else:
        width = ground_m(paint.svg.width_mm)
        options = {"svgFile": f"base64:{paint.svg.base64}", "width": f"{width:.4f}", "pattern_width_unit": UNIT}
        element = _add(parent, "SVGFill", order, options | {"angle": "0"})
        # A tile has an outline of its own, which is none here.
        outline = Xml.SubElement(element, "symbol", type="line", name=name, alpha="1", clip_to_extent="1")
        _add(outline, "SimpleLine", 0, {"line_style": "no"})


def _stroke(parent: Xml.Element, paint: Stroke, order: int, *, unit: str = UNIT) -> None:
    options = {
        "line_color": _rgb(paint.colour),
        "line_style": "solid",
        "line_width": f"{paint.width_m:.4f}",
        "line_width_unit": unit,
        "capstyle": "round" if paint.is_round else "flat",
        "joinstyle": "round",
        "offset": f"{paint.right_m:.4f}",
        "offset_unit": UNIT,
    }
    if paint.dashes_m:
        options |= {
            "use_custom_dash": "1",
            "customdash": ";".join(f"{part:.4f}" for part in paint.dashes_m),
            "customdash_unit": UNIT,
            # Stretched so that a line begins and ends with a whole dash, as the sheet draws it.
            "align_dash_pattern": "1",
        }
    _add(parent, "SimpleLine", order, options)


def _along(parent: Xml.Element, name: str, paint: Along, order: int) -> None:
    options = {"rotate": "1", "placement": "vertex", "ring_filter": "0"}
    if paint.every_m is not None:
        options |= {
            "placement": "interval",
            "interval": f"{paint.every_m:.4f}",
            "interval_unit": UNIT,
            "offset_along_line": f"{paint.first_m:.4f}",
            "offset_along_line_unit": UNIT,
        }
    element = _add(parent, "MarkerLine", order, options)
    marker = Xml.SubElement(element, "symbol", type="marker", name=name, alpha="1", clip_to_extent="1")
    _add(marker, "SvgMarker", 0, _svg(paint) | {"angle": "0"})


def _svg(paint: Stamp | Along) -> dict[str, str]:
    return {
        "name": f"base64:{paint.svg.base64}",
        "size": f"{ground_m(paint.svg.width_mm):.4f}",
        "size_unit": UNIT,
        "scale_method": "diameter",
        "outline_width": "0",
    }


def _add(parent: Xml.Element, kind: str, order: int, options: Mapping[str, str], **by_feature: str) -> Xml.Element:
    """A layer with its options, and with others that an expression gives for each feature."""
    element = Xml.SubElement(parent, "layer", {"class": kind, "enabled": "1", "locked": "0", "pass": str(order)})
    _options(Xml.SubElement(element, "Option", type="Map"), options)
    if by_feature:
        whole = Xml.SubElement(Xml.SubElement(element, "data_defined_properties"), "Option", type="Map")
        _options(whole, {"name": ""})
        by_name = Xml.SubElement(whole, "Option", name="properties", type="Map")
        for name, expression in by_feature.items():
            one = Xml.SubElement(by_name, "Option", name=name, type="Map")
            Xml.SubElement(one, "Option", name="active", value="true", type="bool")
            _options(one, {"expression": expression})
            Xml.SubElement(one, "Option", name="type", value=EXPRESSION, type="int")
        _options(whole, {"type": "collection"})
    return element


def _options(parent: Xml.Element, options: Mapping[str, str]) -> None:
    for name, value in options.items():
        Xml.SubElement(parent, "Option", name=name, value=value, type="QString")


def _rgb(colour: str) -> str:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return f"{red},{green},{blue},255"
