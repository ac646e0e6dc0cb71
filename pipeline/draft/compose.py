"""Composing the draft: the themes' features become one map.

Clipped to the area, cut against each other where two symbols cannot both stand, turned to magnetic north, named,
and sorted into the layers of the draft.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry import LineString, MultiLineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.draft.identity import in_fixed_order, stable_ids
from pipeline.features import join_features
from pipeline.norm.symbols import SymbolTable

MIN_CLIPPED_PART_M = 2.0
"""Shorter crumbs left by clipping at the edge of the area are dropped; they cannot be drawn."""
MIN_CUT_AREA_M2 = 60.0
"""Smaller rests of vegetation beside water and buildings are dropped (8 m x 8 m, ISOM 401)."""
CLEAR_OF_BUILDINGS_M = 2.0
"""Points this near to a building or in water are parts of it, not features."""
SAME_BED_M = 8.0
"""A gully or bank that runs this near to a watercourse is its bed (0.5 mm at 1:15 000)."""
SAME_BED_RATIO = 0.5
"""Share of its length that makes it the bed: most of it (common practice, no source)."""
SAME_THING_M = 3.0
"""Two point symbols this near stand for one thing; the surer stays (a boulder takes 6 m in print)."""

SECTIONS = ("landform", "rock", "water", "vegetation", "manmade")
"""The sections of the ISOM that have layers of points, lines and areas."""
DRAWN = ("Point", "LineString", "Polygon")
"""Geometries of the draft; all single-part."""
LAYERS = (
    *(f"{section}_{kind}" for section in SECTIONS for kind in ("line", "point", "area")),
    "technical_line",
    "technical_area",
)
BEDS = ("104", "107", "108")
"""Banks and gullies: what the bed of a watercourse looks like in the bare earth."""
WATERCOURSES = ("304", "305", "306")
BARE_ROCK = "214"
NOT_SEEN = "600.1"
"""Ground the survey did not see well enough to say how it runs; our own number, beside the sheet edge."""
COLUMNS = (
    "id",
    "symbol",
    "name",
    "confidence",
    "evidence",
    "status",
    "origin",
    "elevation_m",
    "height_m",
    "width_m",
    "angle_deg",
)
ROUND_DECIMALS = {"confidence": 3, "elevation_m": 2, "height_m": 2, "width_m": 2, "angle_deg": 1}
"""More would pretend to a precision the survey does not have."""


def compose_draft(
    themes: list[gpd.GeoDataFrame],
    outline: Polygon | MultiPolygon,
    /,
    *,
    crs: str,
    north_deg: float,
    symbols: SymbolTable,
) -> dict[str, gpd.GeoDataFrame]:
    """The layers of the draft, each possibly empty.

    Parameters
    ----------
    themes : features of each theme, as made by `pipeline.features.make_features`
    outline : the area, in the working CRS
    north_deg : float
        Magnetic north, clockwise from grid north.
    symbols : the symbol table: names and layers
    """
    features = clip(join_features(themes, crs), outline, min_part_m=MIN_CLIPPED_PART_M)
    features = resolve_areas(features)
    features = resolve_beds(features)
    features = resolve_points(features)
    features = in_fixed_order(features)
    features["angle_deg"] = (features["angle_deg"] - north_deg) % 360
    for column, decimals in ROUND_DECIMALS.items():
        features[column] = features[column].round(decimals)
    features["id"] = stable_ids(features)
    features["name"] = [symbols.name_of(symbol) for symbol in features["symbol"]]
    features["status"] = "draft"
    features["origin"] = "lidar"
    return sort_into_layers(features, symbols)


def sort_into_layers(features: gpd.GeoDataFrame, symbols: SymbolTable, /) -> dict[str, gpd.GeoDataFrame]:
    """The features by layer of the draft, with the draft's columns in their fixed order."""
    ordered = features[[*COLUMNS, "geometry"]]
    pairs = zip(features["symbol"], features.geometry, strict=True)
    layer = np.array([symbols.layer_of(symbol, geometry) for symbol, geometry in pairs], dtype=str)
    return {name: ordered[layer == name].reset_index(drop=True) for name in LAYERS}


# ---------------------------------------------------------------- clipping


def clip(features: gpd.GeoDataFrame, outline: Polygon | MultiPolygon, /, *, min_part_m: float) -> gpd.GeoDataFrame:
    """The parts of the features inside the outline: single-part, valid, no crumbs shorter than `min_part_m`.

    Lines keep their direction, since a contour's direction tells which side is higher.
    """
    shapely.prepare(outline)
    geometry = features.geometry.to_numpy()
    touched = shapely.intersects(outline, geometry)
    features, geometry = features[touched].reset_index(drop=True), geometry[touched]
    cut = ~shapely.covers(outline, geometry)
    clipped = geometry.copy()
    for i in np.flatnonzero(cut):
        clipped[i] = _clipped(geometry[i], outline)
    parts = features.set_geometry(gpd.GeoSeries(clipped, crs=features.crs)).explode()
    # An area that shares a piece of its edge with the outline meets it in a line as well.
    is_whole = shapely.get_dimensions(parts.geometry.to_numpy()) == shapely.get_dimensions(geometry)[parts.index]
    parts = parts[is_whole & ~parts.geometry.is_empty.to_numpy() & parts.geometry.notna().to_numpy()]
    crumb = (parts.geom_type != "Point") & (parts.length < min_part_m)
    return parts[parts.geom_type.isin(DRAWN) & ~crumb].reset_index(drop=True)


def _clipped(geometry: BaseGeometry, outline: Polygon | MultiPolygon) -> BaseGeometry:
    inside = shapely.intersection(geometry, outline)
    if not isinstance(geometry, LineString):
        return shapely.make_valid(inside)
    pieces = [part for part in shapely.get_parts(inside) if part.geom_type == "LineString"]
    # A closed line is cut at its first vertex as well; merging heals that.
    merged = shapely.get_parts(shapely.line_merge(shapely.MultiLineString(pieces)))
    return MultiLineString([_along(part, geometry) for part in merged if isinstance(part, LineString)])


def _along(part: LineString, whole: LineString) -> LineString:
    """The part of a line, running the way the whole line runs."""
    middle = part.length / 2
    step = min(0.01, middle)
    before, after = (shapely.line_locate_point(whole, part.interpolate(middle + d)) for d in (-step, step))
    return part if before <= after else LineString(part.coords[::-1])


# ---------------------------------------------------------------- what cannot stand together


def resolve_areas(features: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """Vegetation and bare rock give way to water and buildings, so that these areas do not overlap.

    Open land stays under bare rock, and the sheet prints it clear: that it is rock is a guess, that it is open is not.
    """
    symbol = features["symbol"].to_numpy(str)
    is_area = (features.geom_type == "Polygon").to_numpy()
    section = np.array([text[:1] for text in symbol])
    strong = is_area & (np.isin(symbol, ["301", "302", "521"]))
    weak = is_area & ((section == "4") | (symbol == BARE_ROCK) | (symbol == NOT_SEEN))
    if not strong.any() or not weak.any():
        return features
    cover = shapely.union_all(features.geometry.to_numpy()[strong])
    hit = weak & shapely.intersects(cover, features.geometry.to_numpy())
    if not hit.any():
        return features
    cut = features[hit].copy()
    cut.geometry = shapely.difference(cut.geometry.to_numpy(), cover)
    cut = cut.explode(ignore_index=True)
    cut = cut[(cut.geom_type == "Polygon") & (cut.area >= MIN_CUT_AREA_M2)]
    return join_features([features[~hit], cut], str(features.crs))


def resolve_beds(features: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """A gully or bank gives way to the watercourse whose bed it is: blue says channel, brown would say it is dry."""
    symbol = features["symbol"].to_numpy(str)
    is_bed, is_water = np.isin(symbol, BEDS), np.isin(symbol, WATERCOURSES)
    if not is_bed.any() or not is_water.any():
        return features
    geometry = features.geometry.to_numpy()
    beside = shapely.union_all(shapely.buffer(geometry[is_water], SAME_BED_M))
    beds = geometry[is_bed]
    wet_ratio = shapely.length(shapely.intersection(beds, beside)) / np.maximum(shapely.length(beds), 1e-9)
    drop = np.flatnonzero(is_bed)[wet_ratio > SAME_BED_RATIO]
    return features.drop(index=features.index[drop]).reset_index(drop=True)


def resolve_points(features: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """Of two point symbols that claim one thing the surer stays; what stands on a building or in water goes."""
    symbol = features["symbol"].to_numpy(str)
    geometry = features.geometry.to_numpy()
    is_point = shapely.get_type_id(geometry) == shapely.GeometryType.POINT
    solid = (features.geom_type == "Polygon").to_numpy() & np.isin(symbol, ["301", "302", "521"])
    drop = np.zeros(len(features), bool)
    if solid.any():
        tree = shapely.STRtree(shapely.buffer(geometry[solid], CLEAR_OF_BUILDINGS_M))
        hits = tree.query(geometry, predicate="within")[0]
        drop[hits] = is_point[hits]
    drop |= _doubled(features, np.flatnonzero(is_point & ~drop), reach_m=SAME_THING_M)
    return features[~drop].reset_index(drop=True)


def _doubled(features: gpd.GeoDataFrame, points: NDArray[np.intp], *, reach_m: float) -> NDArray[np.bool_]:
    """(n,) bool: points of different symbols within `reach_m` of a surer one (ties: the lower symbol number stays)."""
    drop = np.zeros(len(features), bool)
    if len(points) < 2:
        return drop
    geometry = features.geometry.to_numpy()[points]
    place = np.column_stack((shapely.get_x(geometry), shapely.get_y(geometry)))
    symbol = features["symbol"].to_numpy(str)[points]
    rank = np.lexsort((place[:, 0], place[:, 1], symbol, -features["confidence"].to_numpy()[points]))
    standing = np.empty(len(points), int)
    standing[rank] = np.arange(len(points))
    for a, b in cKDTree(place).query_pairs(reach_m, output_type="ndarray"):
        if symbol[a] != symbol[b]:
            drop[points[a if standing[a] > standing[b] else b]] = True
    return drop
