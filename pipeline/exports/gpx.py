"""The draft as GPX 1.1 for watches and handheld receivers: things at a place as waypoints, lines as tracks.

Contours, areas and the technical lines are left out: a watch cannot tell them apart, and they would fill its memory.
What was rejected is left out as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from xml.etree import ElementTree as Xml

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.exports.degrees import DECIMALS, in_degrees
from pipeline.exports.told import Told
from pipeline.norm.symbols import SymbolTable

NAMESPACE = "http://www.topografix.com/GPX/1/1"
CONTOURS = ("101", "101.1", "102", "103")
LONGEST_NAME = 15
"""Letters of a name; watches show about as many (common practice, no source)."""
CANDIDATE, REJECTED = "candidate", "rejected"
QUESTION = "?"
"""Begins the name of what is proposed and not on the map."""


def gpx_layers(layers: Mapping[str, gpd.GeoDataFrame], /) -> dict[str, gpd.GeoDataFrame]:
    """The features that a watch can show, by layer."""
    return {
        name: table[~table["symbol"].isin(CONTOURS) & (table["status"] != REJECTED)]
        for name, table in layers.items()
        if name.endswith(("_point", "_line")) and not name.startswith("technical")
    }


def gpx_text(layers: Mapping[str, gpd.GeoDataFrame], /, *, symbols: SymbolTable, told: Told) -> str:
    """Waypoints and tracks in WGS 84.

    The evidence is the description, the status the type. Source: GPX 1.1 schema (Topografix 2004).

    Raises
    ------
    KeyError
        If a feature has a symbol the table does not know.
    """
    Xml.register_namespace("", NAMESPACE)
    root = Xml.Element(f"{{{NAMESPACE}}}gpx", version="1.1", creator="Tussock")
    metadata = Xml.SubElement(root, f"{{{NAMESPACE}}}metadata")
    _text(metadata, "name", told.title)
    _text(metadata, "desc", told.text)
    shown = in_degrees(gpx_layers(layers))
    # All waypoints come before all tracks, as the schema orders them.
    for ending in ("_point", "_line"):
        for name, table in shown.items():
            if name.endswith(ending):
                for row in table.itertuples():
                    _add(root, row.geometry, row.symbol, row.status, row.evidence, symbols)
    Xml.indent(root, space="")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + Xml.tostring(root, encoding="unicode") + "\n"


def _add(root: Xml.Element, place: BaseGeometry, number: str, status: str, evidence: str, symbols: SymbolTable) -> None:
    """A waypoint or a track of one segment."""
    points = shapely.get_coordinates(place)
    if len(points) == 1:
        element = Xml.SubElement(root, f"{{{NAMESPACE}}}wpt", _degrees(points[0]))
    else:
        element = Xml.SubElement(root, f"{{{NAMESPACE}}}trk")
    name = f"{QUESTION if status == CANDIDATE else ''}{number} {symbols.name_of(number)}"
    _text(element, "name", name[:LONGEST_NAME].strip())
    _text(element, "desc", evidence or "")
    _text(element, "type", status or "")
    if len(points) > 1:
        segment = Xml.SubElement(element, f"{{{NAMESPACE}}}trkseg")
        for point in points:
            Xml.SubElement(segment, f"{{{NAMESPACE}}}trkpt", _degrees(point))


def _degrees(point: NDArray[np.float64]) -> dict[str, str]:
    longitude, latitude = point
    return {"lat": f"{latitude:.{DECIMALS}f}", "lon": f"{longitude:.{DECIMALS}f}"}


def _text(parent: Xml.Element, name: str, words: str) -> None:
    Xml.SubElement(parent, f"{{{NAMESPACE}}}{name}").text = words
