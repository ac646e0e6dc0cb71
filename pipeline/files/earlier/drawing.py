"""A map in DXF: layers or attributes hold the symbol numbers, blocks are points, hatches are areas."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import ezdxf
import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from ezdxf import path as drawn_path
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.hatch import Hatch
from ezdxf.entities.insert import Insert
from ezdxf.lldxf.const import DXFError
from shapely.geometry.base import BaseGeometry

from pipeline.errors import InputError
from pipeline.refresh.old.old_map import GivenLayer

SAG_M = 0.05
"""How far a curve may run from the straight pieces it is read as, in the drawing's unit, which is commonly the metre: a
tenth of what print shows at 1:7500 (our choice)."""
LINES = ("LINE", "LWPOLYLINE", "POLYLINE", "SPLINE", "ARC", "ELLIPSE", "CIRCLE")
AREAS = ("HATCH", "MPOLYGON")
FILL = "_fill"
"""What the name of a layer ends with that holds the filling of areas whose outline lies on the layer without it."""
COORDINATES = "COORDINATES"
"""Property of a drawing that names its coordinate system, as our own exports have it."""


def read_drawing(path: Path, /) -> GivenLayer:
    """All points, lines and areas of a drawing, with `layer`, `block` and the attributes of blocks as columns.

    Texts, dimensions and other entities are no features. A closed line that is the rim of a filled area of its own
    layer is that area and does not count twice.

    Raises
    ------
    InputError
        If the file cannot be read as DXF.
    """
    try:
        drawing = ezdxf.readfile(path)
        rows = [row for entity in drawing.modelspace() for row in _rows_of(entity)]
    except (OSError, DXFError, UnicodeDecodeError, ValueError) as error:
        first = (str(error).strip().splitlines() or ["unknown reason"])[0]
        raise InputError(f"{path}: cannot be read as DXF ({first}); save it again from your drawing program") from error
    kept = _without_rims(rows)
    table = pd.DataFrame([row for row, _ in kept])
    shapes = [shape for _, shape in kept]
    crs = next((str(value) for name, value in drawing.header.custom_vars.properties if name == COORDINATES), None)
    return GivenLayer(path.stem, gpd.GeoDataFrame(table, geometry=shapes), crs, is_drawing=True)


Row = tuple[dict[str, object], BaseGeometry]


def _rows_of(entity: DXFGraphic) -> Iterator[Row]:
    """The features that one entity of a drawing is."""
    kind = entity.dxftype()
    told: dict[str, object] = {"layer": str(entity.dxf.layer).removesuffix(FILL), "block": ""}
    if kind == "POINT":
        yield told, shapely.Point(entity.dxf.location.x, entity.dxf.location.y)
    elif isinstance(entity, Insert):
        told |= {"block": str(entity.dxf.name), "rotation": float(entity.dxf.rotation)}
        told |= {str(a.dxf.tag).casefold(): str(a.dxf.text) for a in entity.attribs}
        yield told, shapely.Point(entity.dxf.insert.x, entity.dxf.insert.y)
    elif kind in LINES:
        line = _line_of(entity)
        if line is not None:
            height = _height_of(entity)
            yield told | ({"elevation_m": height} if height else {}), line
    elif isinstance(entity, Hatch) or kind in AREAS:
        area = _area_of(entity)
        if area is not None:
            yield told, area


def _line_of(entity: DXFGraphic) -> BaseGeometry | None:
    places = [(p.x, p.y) for p in drawn_path.make_path(entity).flattening(SAG_M)]
    return shapely.LineString(places) if len(places) > 1 else None


def _height_of(entity: DXFGraphic) -> float:
    """Height that a line lies at, such as that of a contour; 0 where it says none."""
    flat = entity.dxf.get("elevation", 0.0)
    height = flat if isinstance(flat, int | float) else getattr(flat, "z", 0.0)
    if not height:
        first = next(iter(drawn_path.make_path(entity).flattening(math.inf)), None)
        height = first.z if first is not None else 0.0
    return float(height)


def _area_of(entity: DXFGraphic) -> BaseGeometry | None:
    """A filled area with its holes: rings within an odd number of others are holes."""
    rings = [[(p.x, p.y) for p in ring.flattening(SAG_M)] for ring in drawn_path.from_hatch(entity)]  # type: ignore[arg-type]
    whole = sorted((shapely.Polygon(ring) for ring in rings if len(ring) > 3), key=shapely.area, reverse=True)
    inner = [ring.representative_point() for ring in whole]
    depth = [sum(bool(shapely.contains(larger, inner[i])) for larger in whole[:i]) for i in range(len(whole))]
    areas = []
    for i in np.flatnonzero(np.array(depth, int) % 2 == 0):
        holes = [
            whole[j].exterior
            for j in range(i + 1, len(whole))
            if depth[j] == depth[i] + 1 and shapely.contains(whole[i], inner[j])
        ]
        areas.append(shapely.Polygon(whole[i].exterior, holes))
    if not areas:
        return None
    return areas[0] if len(areas) == 1 else shapely.MultiPolygon(areas)


def _without_rims(rows: list[Row]) -> list[Row]:
    """Rows without the closed lines that are rims of areas on their own layer."""
    rims = {
        (str(told["layer"]), _ring_key(ring))
        for told, shape in rows
        if shapely.get_dimensions(shape) == 2
        for part in shapely.get_parts(shape)
        for ring in [part.exterior, *part.interiors]
    }
    return [
        (told, shape)
        for told, shape in rows
        if not (
            isinstance(shape, shapely.LineString) and shape.is_closed and (str(told["layer"]), _ring_key(shape)) in rims
        )
    ]


def _ring_key(ring: BaseGeometry) -> tuple[float, ...]:
    """What tells rings apart, wherever they begin and whichever way they run."""
    around = shapely.bounds(ring)
    return tuple(np.round([*around, shapely.length(ring)], 2).tolist())
