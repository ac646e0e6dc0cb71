"""Pieces of one borrowed line joined: other maps cut a road wherever its name or surface changes."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import join_features


def merge_pieces(borrowed: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The features with lines of one symbol and source joined where exactly two of them meet.

    A joined line has the evidence and the confidence of its longest piece; junctions of three and more stay ends.
    """
    is_line = shapely.get_dimensions(borrowed.geometry.to_numpy()) == 1
    tables = [borrowed[~is_line]]
    for _, pieces in borrowed[is_line].groupby(["symbol", "origin"], sort=True):
        merged = shapely.get_parts(shapely.line_merge(shapely.union_all(pieces.geometry.to_numpy())))
        tree = shapely.STRtree(merged)
        inner = shapely.line_interpolate_point(pieces.geometry.to_numpy(), 0.5, normalized=True)
        home = tree.query_nearest(inner, all_matches=False)[1]
        longest = np.lexsort((-pieces.length.to_numpy(), home))
        first = longest[np.unique(home[longest], return_index=True)[1]]
        joined = pieces.iloc[first].copy()
        joined.geometry = merged[home[first]]
        tables.append(joined)
    return join_features(tables, str(borrowed.crs))
