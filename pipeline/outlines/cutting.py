"""Cutting features at the edges of fields."""

from __future__ import annotations

from collections.abc import Collection

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.grid import Bounds, EastNorth, Mask
from pipeline.outlines.simpler import with_crossings

WHOLE = ("206", "521")
"""Areas that stand for one thing, gigantic boulders and buildings: never cut, the field that holds their middle has
them."""


def cut_to_core(features: gpd.GeoDataFrame, core: Bounds, /, *, whole: Collection[str] = WHOLE) -> gpd.GeoDataFrame:
    """What of a field's features is the field's own; all columns are kept.

    A point belongs to the field if it lies in its core; west and south edge are part of it, east and north edge are
    not. So it is for the middle (centroid) of an area of a symbol of `whole`, which is kept or left out uncut. Other
    lines and areas are cut at the edges, each piece a row of its own; lines keep their direction. A line along an edge
    belongs to the field whose west or south edge it is.

    Parameters
    ----------
    features : as `pipeline.features.make_features` gives them; points, lines and polygons, single-part
    core : west, south, east, north in metres
    whole : symbols of areas that are not cut
    """
    geometry = features.geometry.to_numpy()
    middles = shapely.get_coordinates(shapely.centroid(geometry))
    as_whole = np.asarray((shapely.get_dimensions(geometry) == 0) | np.isin(features["symbol"], list(whole)))
    bounds = shapely.bounds(geometry).reshape(-1, 4)
    is_inside = _in_core(bounds[:, :2], core) & _in_core(bounds[:, 2:], core)
    stays = np.where(as_whole, _in_core(middles, core), is_inside)
    pieces: list[list[BaseGeometry]] = [
        [part] if whole_part else [] for part, whole_part in zip(geometry, stays, strict=True)
    ]
    touches = (bounds[:, :2] <= core[2:]).all(axis=1) & (bounds[:, 2:] >= core[:2]).all(axis=1)
    for i in np.flatnonzero(~as_whole & ~is_inside & touches):
        pieces[i] = _pieces(geometry[i], core)
    row = np.repeat(np.arange(len(features)), [len(parts) for parts in pieces])
    cut = features.iloc[row].reset_index(drop=True)
    parts = np.array([part for parts in pieces for part in parts], np.object_)
    return gpd.GeoDataFrame(cut.set_geometry(gpd.GeoSeries(parts, crs=features.crs)))


def _in_core(places: EastNorth, core: Bounds) -> Mask:
    """(n,) bool: which places are the field's own."""
    return np.asarray(((places >= core[:2]) & (places < core[2:])).all(axis=1))


def _pieces(geometry: BaseGeometry, core: Bounds) -> list[BaseGeometry]:
    return list(_lines_in(geometry, core) if isinstance(geometry, LineString) else _areas_in(geometry, core))


def _with_vertices_on_edges(line: BaseGeometry, core: Bounds) -> EastNorth:
    """(n, 2) the vertices of a line, and those where it crosses an edge of the core, prolonged."""
    west, south, east, north = core
    easts, norths = np.array([west, east]), np.array([south, north])
    return with_crossings(shapely.get_coordinates(line), easts=easts, norths=norths)


def _lines_in(line: LineString, core: Bounds) -> list[BaseGeometry]:
    """The pieces of a line in the core, running the way the line runs."""
    nodes = _with_vertices_on_edges(line, core)
    is_in = _in_core((nodes[:-1] + nodes[1:]) / 2, core)
    if is_in.all():
        return [LineString(nodes)] if len(nodes) > 1 else []
    if line.is_closed and is_in[0] and is_in[-1]:
        # The ring starts inside: it is cut where it leaves, and goes on over its first vertex.
        leaves = int(np.flatnonzero(~is_in)[0])
        nodes = np.concatenate((nodes[leaves:-1], nodes[: leaves + 1]))
        is_in = np.roll(is_in, -leaves)
    change = np.flatnonzero(np.diff(is_in, prepend=False, append=False))
    return [LineString(nodes[a : b + 1]) for a, b in zip(change[::2], change[1::2], strict=True)]


def _areas_in(area: BaseGeometry, core: Bounds) -> list[BaseGeometry]:
    """The pieces of an area in the core."""
    if not isinstance(area, Polygon):
        raise TypeError(f"features are points, lines and polygons, not {area.geom_type}")
    shell, *holes = [_with_vertices_on_edges(ring, core) for ring in (area.exterior, *area.interiors)]
    inside = shapely.intersection(Polygon(shell, holes), shapely.box(*core))
    return [part for part in shapely.get_parts(inside) if isinstance(part, Polygon) and part.area > 0]
