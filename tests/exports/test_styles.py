"""Styles for a GIS: every feature is drawn by exactly one rule, with the norm's sizes, towards magnetic north."""

import re
from dataclasses import replace
from xml.etree import ElementTree as Xml

import numpy as np
import pytest
import shapely

from pipeline.exports.styles.paints import Along, Hatch, Stamp, Stroke, Surface, paints_of, thin
from pipeline.exports.styles.qml import qml_style
from pipeline.exports.styles.rules import rules_of
from pipeline.exports.styles.screen import screen_colour
from pipeline.exports.styles.sld import OGC, SE, sld_style
from pipeline.exports.styles.svg import svg_of
from pipeline.norm.symbols import isom
from pipeline.sheet.page.colours import Plate, tint
from pipeline.sheet.page.ink import CIRCLE, Ink
from pipeline.sheet.page.page import Box
from tests.exports.made_draft import TABLE

LAYERS = sorted({f"{symbol.section}_{kind}" for symbol in TABLE.rows.values() for kind in symbol.kinds})
NORTH_DEG = 3.1
ORDER_IN_SE = {
    "Rule": ["Name", "Filter", "LineSymbolizer", "PolygonSymbolizer", "PointSymbolizer"],
    "PolygonSymbolizer": ["Fill", "Stroke"],
    "LineSymbolizer": ["Stroke", "PerpendicularOffset"],
    "PointSymbolizer": ["Graphic"],
    "Fill": ["GraphicFill", "SvgParameter"],
    "Stroke": ["GraphicStroke", "SvgParameter"],
    "GraphicFill": ["Graphic"],
    "GraphicStroke": ["Graphic", "InitialGap", "Gap"],
    "Graphic": ["ExternalGraphic", "Mark", "Opacity", "Size", "Rotation"],
    "ExternalGraphic": ["InlineContent", "Format"],
    "Mark": ["WellKnownName", "Fill", "Stroke"],
}
"""Children of an element in the order in which they must stand. Source: Symbology Encoding 1.1.0 (OGC 05-077r4), the
schema fragments of chapters 10 and 11, as far as used; from memory."""
SYMBOLIZERS = {"LineSymbolizer", "PolygonSymbolizer", "PointSymbolizer"}


def bare(element: Xml.Element) -> str:
    """Name of an element without its namespace."""
    return element.tag.rpartition("}")[2]


@pytest.mark.parametrize("layer", LAYERS)
def test_every_symbol_of_a_layer_has_its_rules(layer: str) -> None:
    """One rule for what is drawn and one for candidates, each with something to draw, for all symbols of the norm."""
    section, _, kind = layer.rpartition("_")
    wanted = {n for n, symbol in TABLE.rows.items() if symbol.section == section and kind in symbol.kinds}
    rules = list(rules_of(layer, TABLE))
    assert {(rule.number, rule.is_candidate) for rule in rules} == {(n, c) for n in wanted for c in (True, False)}
    assert all(rule.paints for rule in rules)


def test_lines_have_the_norms_widths_on_the_ground() -> None:
    """A contour of 0.14 mm at 1:15 000 is 2.1 m of ground, an index contour 0.25 mm, 3.75 m (ISOM 2017-2, 101, 102)."""
    (contour,), (index,) = paints_of(isom("101"), "line"), paints_of(isom("102"), "line")
    assert isinstance(contour, Stroke)
    assert isinstance(index, Stroke)
    assert contour.width_m == pytest.approx(2.1)
    assert index.width_m == pytest.approx(3.75)
    assert contour.colour == screen_colour(tint("brown"))


def test_tags_of_a_cliff_fall_to_the_right() -> None:
    """Lines run with the higher ground on their left, so tags lie below a line that runs to the right."""
    _, tags = paints_of(isom("201"), "line")
    assert isinstance(tags, Along)
    assert tags.every_m == pytest.approx(isom("201").ground_m("tag_spacing_mm"))
    points = np.array(re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", tags.svg.text), float)
    reach = isom("201").mm("line_mm") / 2 + isom("201").mm("tag_length_mm")
    assert points[:, 1].max() == pytest.approx(0.0, abs=1e-3)
    assert points[:, 1].min() == pytest.approx(-reach, abs=1e-3)


def test_a_candidate_is_thin_and_small() -> None:
    """What is only proposed must not look like the map."""
    (line,), (dot,) = paints_of(isom("101"), "line"), paints_of(isom("204"), "point")
    thin_line, small_dot = thin(line), thin(dot)
    assert isinstance(line, Stroke)
    assert isinstance(thin_line, Stroke)
    assert thin_line.width_m < 0.7 * line.width_m
    assert isinstance(dot, Stamp)
    assert isinstance(small_dot, Stamp)
    assert small_dot.svg.width_mm < 0.8 * dot.svg.width_mm
    assert all(rule.opacity < 0.6 for rule in rules_of("rock_point", TABLE) if rule.is_candidate)


def test_an_svg_shows_what_was_drawn_right_way_up() -> None:
    """A dot near the upper right of its box is there in the picture, whose rows count downwards."""
    ink = Ink()
    ink.stamp(Plate.BLACK, tint("black"), CIRCLE, np.array([[1.5, 0.8]]), size_mm=(0.2, 0.2))
    svg = svg_of(ink, Box(0.0, 0.0, 2.0, 1.0))
    assert (svg.width_mm, svg.height_mm) == (2.0, 1.0)
    assert 'viewBox="0 0 2.0000 1.0000"' in svg.text
    assert 'transform="matrix(1 0 0 -1 -0.0000 1.0000)"' in svg.text or "matrix(1 0 0 -1 0.0000 1.0000)" in svg.text
    assert f'fill="{screen_colour(tint("black"))}"' in svg.text


def test_a_pattern_fits_to_itself() -> None:
    """A dot that the left edge of a tile cuts goes on at its right edge, so that no seam shows."""
    for number in ("402", "211", "208", "310"):
        svg = next(paint.svg for paint in paints_of(isom(number), "area") if not isinstance(paint, Surface | Stroke))
        left, top = (float(part) for part in re.findall(r"matrix\(1 0 0 -1 (\S+) (\S+)\)", svg.text)[0])
        shapes = [
            shapely.MultiPoint(np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", path), float)).convex_hull
            for path in re.findall(r'd="([^"]*)"', svg.text)[0].split("M")[1:]
        ]
        boxes = shapely.bounds(np.array(shapes, object))
        cut = boxes[(boxes[:, 0] + left < 0) & (boxes[:, 2] + left > 0)]
        cut = cut[(cut[:, 1] > top - svg.height_mm + 0.5) & (cut[:, 3] < top - 0.5)]
        assert len(cut)
        for one in cut + np.array([svg.width_mm, 0, svg.width_mm, 0]):
            assert np.abs(boxes - one).max(axis=1).min() < 0.005, number


@pytest.mark.parametrize("layer", LAYERS)
def test_qml_turns_symbols_to_magnetic_north(layer: str) -> None:
    """An upright symbol is turned by the angle between the norths, a hatch as well; every rule has a symbol."""
    root = Xml.fromstring(qml_style(layer, symbols=TABLE, north_deg=NORTH_DEG).partition("\n")[2])
    rules, drawn = root.findall(".//rule"), root.findall("./renderer-v2/symbols/symbol")
    assert [rule.get("symbol") for rule in rules] == [symbol.get("name") for symbol in drawn]
    for kind, angle in (("SvgMarker", NORTH_DEG), ("LinePatternFill", -NORTH_DEG)):
        for part in root.findall(f"./renderer-v2/symbols/symbol/layer[@class='{kind}']"):
            value = float(next(o.get("value") for o in part.findall("./Option/Option") if o.get("name") == "angle"))
            assert (value - angle) % 90 == pytest.approx(0, abs=1e-3)


def test_a_symbol_that_turns_follows_its_column() -> None:
    """A knoll of 110 points along `angle_deg`, which counts from magnetic north; without one it lies east to west."""
    root = Xml.fromstring(qml_style("landform_point", symbols=TABLE, north_deg=NORTH_DEG).partition("\n")[2])
    rule = next(rule for rule in root.findall(".//rule") if rule.get("label") == "110 Small elongated knoll")
    symbol = next(s for s in root.findall(".//symbol") if s.get("name") == rule.get("symbol"))
    expressions = [o.get("value") for o in symbol.iter("Option") if o.get("name") == "expression"]
    assert expressions == [f'coalesce("angle_deg", 90) + {NORTH_DEG:.4f}']
    (stamp,) = paints_of(isom("110"), "point")
    assert isinstance(stamp, Stamp)
    points = np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", re.findall(r'd="([^"]*)"', stamp.svg.text)[0]), float)
    assert np.ptp(points[:, 1]) == pytest.approx(isom("110").mm("length_mm"), rel=0.02)
    assert np.ptp(points[:, 0]) == pytest.approx(isom("110").mm("width_mm"), rel=0.02)


@pytest.mark.parametrize("layer", LAYERS)
def test_sld_has_its_elements_in_order(layer: str) -> None:
    """Children stand in the order of the specification, all sizes are metres on the ground."""
    root = Xml.fromstring(sld_style(layer, symbols=TABLE, north_deg=NORTH_DEG))
    assert misplaced(root) == []
    symbolizers = [element for element in root.iter() if bare(element) in SYMBOLIZERS]
    assert symbolizers
    assert {element.get("uom") for element in symbolizers} == {"http://www.opengeospatial.org/se/units/metre"}


def misplaced(root: Xml.Element) -> list[str]:
    """Elements of Symbology Encoding that stand where the specification does not have them."""
    found = []
    for element in root.iter():
        order = ORDER_IN_SE.get(bare(element))
        if order is None or not element.tag.startswith(f"{{{SE}}}"):
            continue
        names = [bare(child) for child in element]
        places = [order.index("LineSymbolizer" if n in SYMBOLIZERS else n) if n in order else -1 for n in names]
        if places != sorted(places) or -1 in places:
            found.append(f"{bare(element)}: {names}")
    return found


def test_an_element_out_of_order_is_seen() -> None:
    """The check of the order can fail."""
    root = Xml.fromstring(sld_style("rock_point", symbols=TABLE, north_deg=NORTH_DEG))
    graphic = next(element for element in root.iter() if bare(element) == "Graphic")
    graphic.append(Xml.Element(f"{{{SE}}}Size"))
    assert len(misplaced(root)) == 1


def test_sld_rules_choose_by_symbol_and_status() -> None:
    """Each feature is drawn by one rule; a rejected one by none. The filters are evaluated here by their own words."""
    root = Xml.fromstring(sld_style("rock_point", symbols=TABLE, north_deg=NORTH_DEG))
    rules = [element for element in root.iter() if bare(element) == "Rule"]
    for status, n_rules in (("draft", 1), ("confirmed", 1), ("", 1), ("candidate", 1), ("rejected", 0)):
        feature = {"symbol": "204", "status": status}
        drawn_by = [rule for rule in rules if holds(rule.find(f"{{{OGC}}}Filter")[0], feature)]
        assert len(drawn_by) == n_rules, status


def holds(condition: Xml.Element, feature: dict[str, str]) -> bool:
    """Whether a condition of OGC Filter Encoding 1.1 is true of a feature."""
    name = bare(condition)
    if name == "And":
        return all(holds(part, feature) for part in condition)
    if name == "Or":
        return any(holds(part, feature) for part in condition)
    if name == "Not":
        return not holds(condition[0], feature)
    assert name == "PropertyIsEqualTo"
    column, value = condition
    return feature[column.text] == value.text


def test_hatches_know_which_way_they_run() -> None:
    """Marsh is drawn east to west, growth that slows but does not hide north to south (ISOM 2017-2, 308 and 407)."""
    for number, upright in (("308", False), ("407", True)):
        hatch = next(paint for paint in paints_of(isom(number), "area") if isinstance(paint, Hatch))
        assert hatch.is_upright is upright
        assert hatch.every_m == pytest.approx(isom(number).ground_m("spacing_mm"))


def test_an_unknown_drawing_is_refused() -> None:
    """A drawing that the styles do not know is told, not left out."""
    with pytest.raises(KeyError):
        paints_of(replace(isom("101"), drawing="zigzag"), "line")
