"""The draft as DXF for drawing programs: a layer a symbol number, metres of the working coordinate system.

DXF has no attributes and no polygons with holes. An area is the closed line of each of its rings on the layer of its
symbol, which any program reads, and a solid hatch with its holes on a second layer `..._fill`. What is no part of the
map is told by its layer: `204_candidate`, `204_rejected`.
"""

from __future__ import annotations

import io
from collections.abc import Mapping

import ezdxf
import geopandas as gpd
import numpy as np
import shapely
from ezdxf.document import Drawing
from ezdxf.layouts import Modelspace
from shapely.geometry import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.exports.styles.screen import screen_colour
from pipeline.exports.told import Told
from pipeline.norm.paper import enlargement
from pipeline.norm.symbols import Symbol, SymbolTable
from pipeline.sheet.page.colours import tint

VERSION = "R2010"
"""Version of the format: one that programs of the last fifteen years read, with true colours."""
METRES = 6
"""Number of metres among the units of DXF (`$INSUNITS`)."""
LINE_WEIGHTS = (0, 5, 9, 13, 15, 18, 20, 25, 30, 35, 40, 50, 53, 60, 70, 80, 90, 100, 106, 120, 140, 158, 200, 211)
"""Line widths that DXF has, hundredths of a millimetre."""
OFF_THE_MAP = ("candidate", "rejected")
"""Values of `status` of what is not drawn on the map."""
WORDS_TAG = 999
"""Group code of a comment."""


def dxf_text(
    layers: Mapping[str, gpd.GeoDataFrame], /, *, symbols: SymbolTable, scale: int, crs: str, told: Told
) -> str:
    """A drawing of all features.

    Parameters
    ----------
    scale : of the map, for which lines are as wide as the norm asks
    crs : name or code of the coordinate system, told in the file

    Raises
    ------
    KeyError
        If a feature has a symbol the table does not know.
    """
    # Fixed dates and identifiers, so that the same draft gives the same file on any day.
    ezdxf.options.write_fixed_meta_data_for_testing = True
    drawing = ezdxf.new(VERSION, units=METRES)
    for name, words in {**told.entries, "COORDINATES": crs}.items():
        drawing.header.custom_vars.append(name, words)
    space = drawing.modelspace()
    for table in layers.values():
        places = _places(table)
        for symbol_number, status, place, elevation in places:
            layer = _layer(drawing, symbol_number, status, symbols[symbol_number], scale=scale)
            _add(drawing, space, place, layer, elevation)
    target = io.StringIO()
    drawing.write(target)
    comments = "".join(f"{WORDS_TAG}\n{words}\n" for words in (told.title, *told.paragraphs))
    return comments + target.getvalue()


def _places(table: gpd.GeoDataFrame) -> list[tuple[str, str, BaseGeometry, float]]:
    """Symbol, status, geometry and elevation of each feature; 0 where it has no elevation."""
    n = len(table)
    status = table["status"].fillna("").astype(str) if "status" in table else [""] * n
    height = table["elevation_m"].to_numpy(np.float64) if "elevation_m" in table else np.full(n, np.nan)
    rows = zip(table["symbol"], status, table.geometry, np.nan_to_num(height), strict=True)
    return [(str(number), said, geometry, float(z)) for number, said, geometry, z in rows]


def _layer(drawing: Drawing, number: str, status: str, symbol: Symbol, *, scale: int) -> str:
    """The layer of a symbol, made where it is not there yet."""
    name = f"{number}_{status}" if status in OFF_THE_MAP else number
    if name not in drawing.layers:
        colour = symbol.ink.partition(" ")[0] or symbol.fill or "black"
        layer = drawing.layers.add(name, true_color=_true_colour(colour), lineweight=_weight(symbol, scale))
        layer.description = f"{symbol.name} ({status})" if status in OFF_THE_MAP else symbol.name
    return name


def _fill_layer(drawing: Drawing, layer: str) -> str:
    name = f"{layer}_fill"
    if name not in drawing.layers:
        outline = drawing.layers.get(layer)
        filled = drawing.layers.add(name, true_color=outline.dxf.true_color)
        filled.description = f"{outline.description}, filled"
    return name


def _true_colour(colour: str) -> int:
    return int(screen_colour(tint(colour)).removeprefix("#"), 16)


def _weight(symbol: Symbol, scale: int) -> int:
    """The nearest line width of DXF to the symbol's at that scale."""
    figure = next((name for name in ("line_mm", "edge_mm") if symbol.has(name)), None)
    wanted = 100 * enlargement(scale) * symbol.mm(figure) if figure else 0.0
    return min(LINE_WEIGHTS, key=lambda weight: abs(weight - wanted))


def _add(drawing: Drawing, space: Modelspace, place: BaseGeometry, layer: str, elevation_m: float) -> None:
    """One feature; a contour lies at its elevation."""
    if isinstance(place, Point):
        space.add_point((place.x, place.y), dxfattribs={"layer": layer})
    elif isinstance(place, LineString):
        _polyline(space, place, layer, elevation_m)
    elif isinstance(place, Polygon):
        rings = [place.exterior, *place.interiors]
        for ring in rings:
            _polyline(space, ring, layer, elevation_m)
        hatch = space.add_hatch(dxfattribs={"layer": _fill_layer(drawing, layer)})
        for depth, ring in enumerate(rings):
            # 1: the outer edge; 16: a hole in it.
            hatch.paths.add_polyline_path(shapely.get_coordinates(ring)[:-1], is_closed=True, flags=16 if depth else 1)
    else:
        for part in shapely.get_parts(place):
            _add(drawing, space, part, layer, elevation_m)


def _polyline(space: Modelspace, line: LineString, layer: str, elevation_m: float) -> None:
    """A line; one that ends where it began is closed and does not repeat its first point."""
    points = shapely.get_coordinates(line)
    points = points[:-1] if line.is_ring else points
    space.add_lwpolyline(points, close=bool(line.is_ring), dxfattribs={"layer": layer, "elevation": elevation_m})
