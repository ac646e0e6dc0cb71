"""Rock on ground that was hardly seen is believed less: a step of the surface there may be the edge of a crown."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.lattice.grid import EastNorth, Grid, Mask
from pipeline.outlines.simpler import places_along_line
from pipeline.terrain.doubt import UNSEEN_TRUST


def less_sure(features: gpd.GeoDataFrame, unseen: Mask, grid: Grid, /) -> gpd.GeoDataFrame:
    """The points and lines with lower confidence, and with a word in the evidence, where they lie on unseen ground.

    A feature wholly on such ground keeps `UNSEEN_TRUST` of its confidence. The loss grows with the square of the share
    that lies there, so that one half on it loses a quarter as much: what was seen of a line speaks for the rest. With a
    loss as large as the share, six of ten likely faces that lay partly there on a made steep scene were stated below
    0.8, and all ten were cliffs (our choice, made on that scene).
    What lies beside it loses nothing: cliffs are doubted on both sides, and with those within 1 m too an eighth of the
    true ones of a made steep scene went.

    Parameters
    ----------
    unseen : (rows, cols) bool
        As `pipeline.terrain.doubt.hardly_seen` gives it.
    """
    if not len(features) or not unseen.any():
        return features
    share = np.array([_share_on(_places(shape), unseen, grid) for shape in features.geometry])
    lowered = features.assign(confidence=features["confidence"] * (1 - (1 - UNSEEN_TRUST) * share**2))
    pairs = zip(features["evidence"], share, strict=True)
    return lowered.assign(
        evidence=[f"{text}; {100 * part:.0f} % of it on ground hardly seen" if part else text for text, part in pairs]
    )


def _places(shape: shapely.Geometry) -> NDArray[np.float64]:
    """(n, 2) places on a point or, a metre apart, along a line."""
    way = shapely.get_coordinates(shape)
    return places_along_line(way, 1.0) if len(way) > 1 else way


def _share_on(places: EastNorth, cells: Mask, grid: Grid) -> float:
    """Share of places whose cell is set; none beyond the grid is."""
    index = grid.cell_index(places[:, 0], places[:, 1])
    return float(np.mean((index >= 0) & cells.ravel()[index]))
