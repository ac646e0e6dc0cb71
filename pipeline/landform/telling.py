"""What is said about lines and areas of landforms: confidence, evidence and numbers, from the sums along them.

Sums are of the whole feature, whether one field drew it or several did and it was joined; so is what is said.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.features import EITHER_WAY, SUM, join_features
from pipeline.landform.contours.slope_lines import large_hollow_strokes
from pipeline.landform.lines.lines import is_closed
from pipeline.landform.lines.squares import from_lowest
from pipeline.landform.shapes.edges import line_confidence

Floats = NDArray[np.float64]
NO_GAIN_CONFIDENCE, GAIN_CONFIDENCE = 0.4, 0.5
"""Confidence in a form line that takes no error from the reader, and what is added for one that takes half an interval,
all that a reader can be wrong by. Our choice: nobody has measured how often a mapper keeps such lines."""
ADJECTIVES = {"104": "high", "105": "high", "106": "high", "107": "deep", "108": "deep"}


def tell(features: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The features with confidence, evidence, height and width from their sums, which stay; points are left alone.

    Closed hollows too large for one field get their slope line, so this is for whole features: those of a field are
    told by `tell_pieces`, and again by this when they are joined.

    Parameters
    ----------
    features : GeoDataFrame
        Lines and areas with sums (`pipeline.landform.lines.line_pieces`, `pipeline.features.SUM`).
    """
    told = tell_pieces(features)
    rows = told["symbol"].isin(["101", "102", "103"])
    if not rows.any():
        return told
    strokes = large_hollow_strokes(told[rows].reset_index(drop=True))
    return join_features([told, strokes], str(features.crs))


def tell_pieces(features: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The features as `tell` gives them, without the slope lines of large hollows.

    Closed lines begin at their southernmost vertex, lines without a direction at their more southern end.
    """
    if not len(features):
        return features
    shapes = [
        _begun_the_same(shape, symbol) for shape, symbol in zip(features.geometry, features["symbol"], strict=True)
    ]
    told = features.set_geometry(shapes, crs=features.crs).reset_index(drop=True)
    told["confidence"] = told["confidence"].astype(np.float64)
    _tell_contours(told)
    _tell_form_lines(told)
    _tell_axes(told)
    _tell_broken_ground(told)
    return told


def _begun_the_same(shape: shapely.Geometry, symbol: str) -> shapely.Geometry:
    if not isinstance(shape, shapely.LineString):
        return shape
    way = shapely.get_coordinates(shape)
    if is_closed(way):
        return shapely.LineString(from_lowest(way))
    if symbol in EITHER_WAY and tuple(way[0, ::-1]) > tuple(way[-1, ::-1]):
        return shapely.LineString(way[::-1])
    return shape


def _means(told: gpd.GeoDataFrame, rows: NDArray[np.int64], name: str) -> Floats:
    """(n,) a sum along lines over their length."""
    length_m = np.maximum(shapely.length(told.geometry.to_numpy()[rows]), 1e-9)
    return np.asarray(told[SUM + name].to_numpy(np.float64)[rows] / length_m)


def _rows(told: gpd.GeoDataFrame, symbols: tuple[str, ...]) -> NDArray[np.int64]:
    return np.flatnonzero(told["symbol"].isin(symbols))


def _put(told: gpd.GeoDataFrame, rows: NDArray[np.int64], **columns: object) -> None:
    for name, values in columns.items():
        told.iloc[rows, told.columns.get_loc(name)] = values


def _tell_contours(told: gpd.GeoDataFrame) -> None:
    rows = _rows(told, ("101", "102", "101.1"))
    if len(rows):
        _put(told, rows, confidence=np.clip(_means(told, rows, "seen"), 0, 1))
    rows = _rows(told, ("101", "102"))
    if not len(rows):
        return
    gap_m = told[SUM + "gap"].to_numpy()[rows] / np.maximum(told[SUM + "gap_known"].to_numpy()[rows], 1e-9)
    levels_m = told["elevation_m"].to_numpy()[rows]
    pairs = zip(levels_m, gap_m, strict=True)
    _put(told, rows, evidence=[f"at {level:g} m, ground returns {gap:.1f} m away on average" for level, gap in pairs])


def _tell_form_lines(told: gpd.GeoDataFrame) -> None:
    rows = _rows(told, ("103",))
    if not len(rows):
        return
    error_m, gain, seen = (_means(told, rows, name) for name in ("error", "gain", "seen"))
    sure = np.clip(seen * (NO_GAIN_CONFIDENCE + GAIN_CONFIDENCE * gain), 0, 1)
    pairs = zip(told["elevation_m"].to_numpy()[rows], error_m, strict=True)
    evidence = [f"at {level:g} m; without it the ground reads {error:.1f} m wrong here" for level, error in pairs]
    _put(told, rows, confidence=sure, evidence=evidence)


def _tell_axes(told: gpd.GeoDataFrame) -> None:
    rows = _rows(told, tuple(ADJECTIVES))
    if not len(rows):
        return
    height_m, width_m, seen = (_means(told, rows, name) for name in ("height", "width", "seen"))
    length_m = shapely.length(told.geometry.to_numpy()[rows])
    adjectives = [ADJECTIVES[symbol] for symbol in told["symbol"].to_numpy()[rows]]
    evidence = [
        f"{height:.1f} m {adjective} over {width:.0f} m across, {length:.0f} m long"
        for height, adjective, width, length in zip(height_m, adjectives, width_m, length_m, strict=True)
    ]
    sure = np.clip(seen, 0, 1) * line_confidence(height_m, length_m)
    _put(told, rows, confidence=sure, evidence=evidence, height_m=height_m, width_m=width_m)


def _tell_broken_ground(told: gpd.GeoDataFrame) -> None:
    rows = _rows(told, ("113",))
    if not len(rows):
        return
    count = np.maximum(told[SUM + "cells"].to_numpy()[rows], 1.0)
    height_m, sure, seen = (told[SUM + name].to_numpy()[rows] / count for name in ("height", "sure", "seen"))
    area_m2 = shapely.area(told.geometry.to_numpy()[rows])
    pairs = zip(height_m, area_m2, strict=True)
    evidence = [f"uneven by {spread:.2f} m over {area:.0f} m2" for spread, area in pairs]
    _put(told, rows, confidence=np.clip(sure, 0, 1) * np.clip(seen, 0, 1), evidence=evidence, height_m=height_m)
