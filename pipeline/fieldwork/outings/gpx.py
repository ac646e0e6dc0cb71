"""The check list as GPX 1.1 for watches, phones and handheld receivers.

Waypoints are the questions under short names, each outing is a route through its stops, and the ground that the walk
goes over is a track, since the straight line between two stops may lead through a lake.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as Xml

import numpy as np
import pandas as pd
from pyproj import Transformer

from pipeline.fieldwork.outings.check import CheckList, Outing
from pipeline.fieldwork.questions.listed import DEGREES
from pipeline.lattice.grid import EastNorth

NAMESPACE = "http://www.topografix.com/GPX/1/1"
DECIMALS = 7
"""Of a degree: a centimetre."""
MOST_WAYPOINTS = 500
"""Waypoints written where no outing could be planned, the most worthy ones: watches hold some hundreds (common
practice, no source)."""


def check_points_gpx(found: CheckList, /, *, area: str) -> str:
    """The text of `check_points.gpx`. Source of the order of elements: GPX 1.1 schema (Topografix 2004)."""
    Xml.register_namespace("", NAMESPACE)
    root = Xml.Element(f"{{{NAMESPACE}}}gpx", version="1.1", creator="Tussock")
    metadata = _add(root, "metadata")
    _text(metadata, "name", f"{area}: what to look at")
    _text(metadata, "desc", " ".join(found.words))
    in_outings = found.rows[found.rows["outing"] > 0]
    told = in_outings if len(in_outings) else found.rows.head(MOST_WAYPOINTS)
    degrees = Transformer.from_crs(found.crs, DEGREES, always_xy=True)
    cars = {tuple(outing.start): "P" for outing in found.outings}
    names = {car: f"P{number}" if len(cars) > 1 else "P" for number, car in enumerate(cars, start=1)}
    for car, name in names.items():
        _point(root, "wpt", _in_degrees(degrees, np.array([car]))[0], name=name, desc="Parking place", kind="parking")
    for row in told.itertuples():
        words = f"{row.look_at} {row.why}".strip()
        _point(root, "wpt", (row.longitude_deg, row.latitude_deg), name=row.name, desc=words, kind=row.kind)
    for number, outing in enumerate(found.outings, start=1):
        start = names[tuple(outing.start)], *_in_degrees(degrees, outing.start[None])[0]
        _route(root, number, outing, in_outings[in_outings["outing"] == number], start)
    for number, outing in enumerate(found.outings, start=1):
        _track(root, number, _in_degrees(degrees, outing.way))
    Xml.indent(root, space="")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + Xml.tostring(root, encoding="unicode") + "\n"


def _route(root: Xml.Element, number: int, outing: Outing, rows: pd.DataFrame, start: tuple[str, float, float]) -> None:
    """The stops of an outing in walking order, from the parking place and back."""
    route = _add(root, "rte")
    _text(route, "name", f"Outing {number}")
    _text(
        route,
        "desc",
        f"{len(outing.stops)} stops, {outing.walking_minutes:.0f} minutes of walking and "
        f"{outing.looking_minutes:.0f} of looking",
    )
    _text(route, "number", str(number))
    _point(route, "rtept", start[1:], name=start[0])
    # The first row of a stop is its most valuable question; the stop lies there.
    stops = rows.sort_values(["stop", "rank"]).drop_duplicates("stop")
    for name, longitude, latitude in zip(stops["name"], stops["longitude_deg"], stops["latitude_deg"], strict=True):
        _point(route, "rtept", (float(longitude), float(latitude)), name=str(name))
    _point(route, "rtept", start[1:], name=start[0])


def _track(root: Xml.Element, number: int, way: Sequence[tuple[float, float]]) -> None:
    track = _add(root, "trk")
    _text(track, "name", f"Way {number}")
    _text(track, "number", str(number))
    segment = _add(track, "trkseg")
    for place in way:
        _point(segment, "trkpt", place)


def _in_degrees(degrees: Transformer, places: EastNorth) -> list[tuple[float, float]]:
    longitude, latitude = degrees.transform(places[:, 0], places[:, 1])
    return list(zip(longitude.tolist(), latitude.tolist(), strict=True))


def _point(
    parent: Xml.Element, tag: str, place: tuple[float, float], *, name: str = "", desc: str = "", kind: str = ""
) -> None:
    """A point with what is said of it, in the order of the schema."""
    element = _add(parent, tag)
    element.set("lat", f"{place[1]:.{DECIMALS}f}")
    element.set("lon", f"{place[0]:.{DECIMALS}f}")
    for child, words in (("name", name), ("desc", desc), ("type", kind)):
        if words:
            _text(element, child, words)


def _add(parent: Xml.Element, tag: str) -> Xml.Element:
    return Xml.SubElement(parent, f"{{{NAMESPACE}}}{tag}")


def _text(parent: Xml.Element, tag: str, words: str) -> None:
    _add(parent, tag).text = words
