"""Slope lines 101.1: the short stroke that says which way is down."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from pipeline.features import make_features
from pipeline.grid import EastNorth
from pipeline.landform.lines import encloses_higher, is_closed
from pipeline.landform.paper import ground_m
from pipeline.settings import LandformSettings


def slope_line(ring: EastNorth, /, *, length_m: float) -> EastNorth:
    """A stroke into a hollow, from its contour downhill, where the contour runs straightest.

    Returns
    -------
    (2, 2) float64, from the contour inwards.
    """
    outline = shapely.LineString(ring)
    step_m = outline.length / 24
    along_m = np.arange(24) * step_m
    places = shapely.get_coordinates(shapely.line_interpolate_point(outline, along_m))
    ahead, behind = np.roll(places, -2, axis=0) - places, places - np.roll(places, 2, axis=0)
    turn = np.abs(ahead[:, 0] * behind[:, 1] - ahead[:, 1] * behind[:, 0])
    best = int(np.lexsort((places[:, 0], -places[:, 1], np.round(turn / step_m**2, 3)))[0])
    along = (ahead + behind)[best]
    # Higher ground lies on the left of every contour, so downhill is to the right.
    downhill = np.array([along[1], -along[0]]) / np.hypot(*along)
    return np.array([places[best], places[best] + length_m * downhill])


def draft_slope_lines(contours: gpd.GeoDataFrame, /, *, settings: LandformSettings) -> gpd.GeoDataFrame:
    """One slope line for every closed contour or form line around a hollow, which the standard demands.

    Parameters
    ----------
    contours : GeoDataFrame
        Features 101, 102 and 103 with higher ground on the left.

    Returns
    -------
    GeoDataFrame of 101.1: LineStrings from the contour downhill, `angle_deg` the way they point.
    """
    length_m = ground_m(settings.slope_line_mm)
    rings = [np.asarray(line.coords)[:, :2] for line in contours.geometry]
    is_hollow = [is_closed(ring) and not encloses_higher(ring) for ring in rings]
    strokes = [slope_line(ring, length_m=length_m) for ring, hollow in zip(rings, is_hollow, strict=True) if hollow]
    away = np.array([stroke[1] - stroke[0] for stroke in strokes]).reshape(-1, 2)
    return make_features(
        [shapely.LineString(stroke) for stroke in strokes],
        crs=str(contours.crs),
        symbol="101.1",
        confidence=contours["confidence"].to_numpy()[is_hollow],
        evidence=[f"closed hollow at {height:g} m" for height in contours["elevation_m"].to_numpy()[is_hollow]],
        elevation_m=contours["elevation_m"].to_numpy()[is_hollow],
        angle_deg=np.degrees(np.arctan2(away[:, 0], away[:, 1])) % 360,
    )
