"""Open land with so many trees that no single one is a landmark becomes open land with scattered trees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.draft.choosing.status import is_candidate
from pipeline.features import join_features
from pipeline.lattice.grid import Mask
from pipeline.norm.symbols import isom

SCATTERED = {"401": "402", "403": "404"}
"""Open land to the same with scattered trees."""
BUSHES = ".1"
"""What is added to the symbol where more of them are bushes."""


@dataclass(frozen=True)
class Crowd:
    """Trees that stand within sight of each other.

    Attributes
    ----------
    ground : what lies within half of that distance of any of them
    number, n_bushes : how many there are, and how many of them are bushes or small trees
    """

    ground: BaseGeometry
    number: int
    n_bushes: int

    @classmethod
    def of(cls, trees: gpd.GeoDataFrame, link_m: float, /) -> Crowd:
        """The crowd of these trees, of which each has another within `link_m`."""
        around = shapely.buffer(trees.geometry.to_numpy(), 0.5 * link_m, quad_segs=4)
        return cls(shapely.union_all(around), len(trees), int((trees["symbol"] == "418").sum()))


def scatter_trees(features: gpd.GeoDataFrame, all_crowds: Sequence[Crowd], /) -> tuple[gpd.GeoDataFrame, Mask]:
    """The features with open land around crowds of trees as such with scattered trees; (n,) which crowds that shows.

    Rows that did not change keep their index, new ones follow. The norm draws scattered trees on no small area: a crowd
    with too little open land around it is not shown.
    """
    shown = np.zeros(len(all_crowds), np.bool_)
    shapes = features.geometry.to_numpy().copy()
    is_area = shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON
    open_land = np.flatnonzero(is_area & features["symbol"].isin(list(SCATTERED)).to_numpy() & ~is_candidate(features))
    made, touched = [], set[int]()
    for number, crowd in enumerate(all_crowds):
        for row in open_land[shapely.intersects(shapes[open_land], crowd.ground)]:
            symbol = str(features["symbol"].iloc[row])
            with_trees, rest = _split(shapes[row], crowd.ground, symbol)
            if with_trees.is_empty:
                continue
            shown[number] = True
            shapes[row] = rest
            touched.add(int(row))
            made.append(_scattered(features.iloc[[row]], with_trees, symbol, crowd))
    rows = sorted(touched)
    rest_of = features.iloc[rows].set_geometry(
        gpd.GeoSeries(shapes[rows], index=features.index[rows], crs=features.crs)
    )
    new = join_features([rest_of[~rest_of.is_empty], *made], str(features.crs)).explode(ignore_index=True)
    new.index += int(features.index.max()) + 1
    others = features.drop(index=features.index[rows])
    return gpd.GeoDataFrame(pd.concat([others, new] if len(new) else [others]), crs=features.crs), shown


def _split(area: BaseGeometry, ground: BaseGeometry, symbol: str) -> tuple[MultiPolygon, BaseGeometry]:
    """What of an area has scattered trees, in parts large enough for that, and what has none; small rests have too."""
    least_m2, least_rest_m2 = isom(SCATTERED[symbol]).smallest.area_m2, isom(symbol).smallest.area_m2
    large = [part for part in _polygons(shapely.intersection(area, ground)) if part.area >= least_m2]
    if not large:
        return MultiPolygon(), area
    rest = _polygons(shapely.difference(area, shapely.union_all(large)))
    small = [part for part in rest if part.area < least_rest_m2]
    keeps = [part for part in rest if part.area >= least_rest_m2]
    return MultiPolygon(_polygons(shapely.union_all([*large, *small]))), shapely.union_all(keeps)


def _scattered(area: gpd.GeoDataFrame, ground: MultiPolygon, symbol: str, crowd: Crowd) -> gpd.GeoDataFrame:
    """The row of an area, for the part of it with scattered trees."""
    more_bushes = crowd.n_bushes > crowd.number / 2
    text = f"{area['evidence'].iloc[0]}; {crowd.number} single trees or bushes that do not stand out by themselves"
    new = area.assign(symbol=SCATTERED[symbol] + (BUSHES if more_bushes else ""), evidence=text)
    return new.set_geometry(gpd.GeoSeries([ground], index=new.index, crs=area.crs))


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(shape) if isinstance(part, Polygon)]
