"""White that is too small to be read as forest: rims beside houses and water, and what areas left too small leave."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.draft.choosing.status import NOT_SEEN, is_candidate
from pipeline.draft.collisions import SOLID, Kept
from pipeline.draft.record.left_out import left_out
from pipeline.draft.smallest import TOLERANCE
from pipeline.features import no_features
from pipeline.lattice.grid import Mask
from pipeline.norm.symbols import SymbolTable

VEGETATION = ("401", "402", "403", "404", "406", "407", "408", "409", "410")
OTHER_GROUND = (*SOLID, NOT_SEEN, "412", "413", "414", "501", "520")
"""Areas beside vegetation that leave no white either."""
DARK = ("401", "408", "410")
"""In these white may be as small as the least 408; in paler ones as the least 406 (405, from memory; the table has no
column for openings)."""
LOOK_M = 12.0
"""White is looked for so far around houses, water and what is too small, in metres: a rim that goes further is a strip
of forest (our choice)."""
LEAST_AREA_M2 = 0.01
"""Less is the rounding of a coordinate, no rim."""

Shapes = NDArray[np.object_]
Numbers = NDArray[np.intp]


def fill_white_rims(features: gpd.GeoDataFrame, symbols: SymbolTable, /) -> Kept:
    """Vegetation with the white beside it that is too small for an opening, and the areas that went into it.

    A house stands on ground that was taken for forest, as its roof stops the pulses; cut out, it leaves a rim of white.
    An area that a cut made too small leaves white too. Both would be read as forest: they go to the vegetation with
    which they share most border. White that reaches further than LOOK_M stays.
    """
    symbol = np.array([text if text == NOT_SEEN else text.split(".")[0] for text in features["symbol"]], str)
    geometry = features.geometry.to_numpy().copy()
    # What is only proposed is not printed: it leaves white, and none goes into it.
    is_area = (shapely.get_type_id(geometry) == shapely.GeometryType.POLYGON) & ~is_candidate(features)
    is_green = is_area & np.isin(symbol, VEGETATION)
    least_m2 = {text: (1 - TOLERANCE) * symbols.smallest(text).area_m2 for text in VEGETATION}
    is_small = is_green & (shapely.area(geometry) < np.array([least_m2.get(text, 0.0) for text in symbol]))
    cause = is_small | (is_area & np.isin(symbol, SOLID))
    ground = np.flatnonzero(is_area & ~is_small & np.isin(symbol, (*VEGETATION, *OTHER_GROUND)))
    if not cause.any() or not len(ground):
        return features, no_features(str(features.crs))
    around = shapely.union_all(shapely.buffer(geometry[cause], LOOK_M))
    rims, hosts = _rims_and_hosts(around, geometry, ground, is_green)
    pale_m2, dark_m2 = (symbols.smallest(text).area_m2 for text in ("406", "408"))
    is_rim = shapely.area(rims) < np.where(np.isin(symbol[hosts], DARK), dark_m2, pale_m2)
    filled = _fill(geometry, rims[is_rim], hosts[is_rim])
    gone = _within(geometry, np.flatnonzero(is_small), filled)
    changed = features.set_geometry(gpd.GeoSeries(geometry, index=features.index, crs=features.crs))
    merged = left_out(features[gone], "too small once it was cut: drawn as what is beside it", what="merged")
    return changed[~gone].reset_index(drop=True), merged


def fill_pinholes(features: gpd.GeoDataFrame, symbols: SymbolTable, /) -> Kept:
    """Vegetation without white holes too small for an opening; nothing is left out.

    What is cut off and given away on all sides of a place may leave a spot of white there, which reads as a blemish.
    """
    symbol = np.array([text.split(".")[0] for text in features["symbol"]], str)
    geometry = features.geometry.to_numpy().copy()
    is_area = (shapely.get_type_id(geometry) == shapely.GeometryType.POLYGON) & ~is_candidate(features)
    areas = np.flatnonzero(is_area & np.isin(symbol, (*VEGETATION, *OTHER_GROUND)))
    tree = shapely.STRtree(geometry[areas])
    pale_m2, dark_m2 = (symbols.smallest(text).area_m2 for text in ("406", "408"))
    greens = np.flatnonzero(is_area & np.isin(symbol, VEGETATION))
    for row in greens[shapely.get_num_interior_rings(geometry[greens]) > 0]:
        holes = shapely.polygons(geometry[row].interiors)
        least_m2 = dark_m2 if symbol[row] in DARK else pale_m2
        small = np.flatnonzero((shapely.area(holes) > LEAST_AREA_M2) & (shapely.area(holes) < least_m2))
        if not len(small):
            continue
        place, inside = tree.query(holes[small], predicate="intersects")
        hole, other = small[place], areas[inside]
        hole, other = hole[other != row], other[other != row]
        # A hole that holds nothing goes as it is, which spares joining it.
        stays = np.isin(np.arange(len(holes)), np.setdiff1d(small, hole), invert=True)
        geometry[row] = Polygon(geometry[row].exterior, list(shapely.get_exterior_ring(holes[stays])))
        for number in np.unique(hole):
            joined = shapely.union(geometry[row], _without(holes[number], geometry[other[hole == number]]))
            if isinstance(joined, Polygon):
                geometry[row] = joined
    filled = features.set_geometry(gpd.GeoSeries(geometry, index=features.index, crs=features.crs))
    return filled, no_features(str(features.crs))


def _fill(geometry: Shapes, rims: Shapes, hosts: Numbers) -> Shapes:
    """Join the rims to their hosts in place, where that makes one shape; the rims that were joined."""
    filled = []
    for host in np.unique(hosts):
        joined = shapely.union_all([geometry[host], *rims[hosts == host]])
        if isinstance(joined, Polygon):
            geometry[host] = joined
            filled.append(host)
    return rims[np.isin(hosts, filled)]


MILLIMETRE = 0.001
"""Finest step in metres to which areas are brought where exact places are too fine to be compared."""


def _rims_and_hosts(around: BaseGeometry, geometry: Shapes, ground: Numbers, is_green: Mask) -> tuple[Shapes, Numbers]:
    """White parts that lie wholly within each part of `around`, and the number of the vegetation most beside each."""
    tree = shapely.STRtree(geometry[ground])
    rims, hosts = [], []
    for place in shapely.get_parts(around):
        near = ground[np.sort(tree.query(place, predicate="intersects"))]
        # A meadow of a square kilometre is long to compare: what of it lies about the place is enough.
        here = shapely.clip_by_rect(geometry[near], *shapely.buffer(place, 1.0).bounds)
        white = shapely.get_parts(_without(place, here))
        white = white[(shapely.area(white) > LEAST_AREA_M2) & ~shapely.intersects(white, shapely.boundary(place))]
        edges, near = shapely.boundary(here[is_green[near]]), near[is_green[near]]
        for rim in white if len(near) else ():
            shared_m = shapely.length(shapely.intersection(edges, shapely.boundary(rim)))
            if shared_m.max() > 0:
                rims.append(rim)
                hosts.append(near[int(np.argmax(shared_m))])
    return np.array(rims, np.object_), np.array(hosts, np.intp)


def _without(place: BaseGeometry, areas: Shapes) -> BaseGeometry:
    """What of a place none of some areas covers.

    Clipping leaves rings that touch themselves, on which an exact difference may fail; on whole millimetres it does
    not.
    """
    covered = shapely.union_all(areas)
    try:
        return shapely.difference(place, covered)
    except shapely.errors.GEOSException:
        return shapely.difference(shapely.make_valid(place), shapely.make_valid(covered), grid_size=MILLIMETRE)


def _within(geometry: Shapes, small: Numbers, rims: Shapes) -> Mask:
    """(n,) bool: which of the small areas lie in white that was filled."""
    found = np.zeros(len(geometry), np.bool_)
    if len(rims) and len(small):
        inside = shapely.STRtree(rims).query(shapely.point_on_surface(geometry[small]), predicate="intersects")[0]
        found[small[inside]] = True
    return found
