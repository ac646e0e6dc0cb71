"""Which features of a draft a mark means, where the draft was made anew and the id is another one."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.draft.identity import FAMILY, LEVEL

SAME_POINT_M = 4.0
"""Points of one kind as near as this are one thing: half the square that an id of a point stands for
(`pipeline.draft.identity.POINT_CELL_M`), which a few returns more or less do not move it by (our choice)."""
SAME_LINE_M = 5.0
"""Lines of one kind run along each other where they are within this distance (our choice)."""
SAME_SHARE = 0.5
"""Of a line or an area that a draft proposes, at least this much must lie on what the mark means (our choice)."""


def family_of(symbol: str, /) -> str:
    """The symbol that stands for all between which a few returns decide, such as 204 for every boulder."""
    main = symbol.partition(".")[0]
    return FAMILY.get(symbol, FAMILY.get(main, main))


def same_thing(
    features: gpd.GeoDataFrame, symbol: str, shape: BaseGeometry, /, *, elevation_m: float | None = None
) -> NDArray[np.intp]:
    """Rows of the features that are a thing of this kind at this place.

    Of points the nearest within SAME_POINT_M. Of lines and areas all of which at least SAME_SHARE lies within
    SAME_LINE_M of the line, or in the area: a line may come back in two pieces.

    Parameters
    ----------
    features : with `symbol`, and `elevation_m` where contours are among them
    elevation_m : of a contour or form line; only those of this height are the same
    """
    kind = shapely.get_dimensions(shape)
    geometry = features.geometry.to_numpy()
    alike = np.array([family_of(str(one)) for one in features["symbol"]], str) == family_of(symbol)
    alike &= shapely.get_dimensions(geometry) == kind
    if symbol.partition(".")[0] in LEVEL and elevation_m is not None:
        alike &= np.isclose(features["elevation_m"].to_numpy(np.float64), elevation_m)
    reach_m = SAME_POINT_M if kind == 0 else SAME_LINE_M if kind == 1 else 0.0
    near = np.flatnonzero(alike & np.asarray(shapely.dwithin(geometry, shape, reach_m)))
    if len(near) == 0 or kind == 0:
        return near[np.argsort(shapely.distance(geometry[near], shape), kind="stable")][:1]
    ground = shape.buffer(SAME_LINE_M) if kind == 1 else shapely.make_valid(shape)
    return near[_share_on(geometry[near], ground, int(kind)) >= SAME_SHARE]


def _share_on(shapes: NDArray[np.object_], ground: BaseGeometry, kind: int) -> NDArray[np.float64]:
    """How much of each line or area lies on some ground, 0 to 1."""
    size = shapely.length if kind == 1 else shapely.area
    whole = size(shapes)
    on_it = size(shapely.intersection(shapely.make_valid(shapes), ground))
    return np.asarray(np.divide(on_it, whole, out=np.zeros(len(shapes)), where=whole > 0), np.float64)
