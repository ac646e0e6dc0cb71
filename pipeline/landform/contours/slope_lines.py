"""Slope lines 101.1: the short stroke that says which way is down."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from pipeline.features import make_features
from pipeline.landform.contours.form_lines import READER_REACH_M, STATION_STEP_M, is_whole_ring
from pipeline.landform.contours.legibility import Stations, stations
from pipeline.landform.contours.limits import CONTOURS_APART_M
from pipeline.landform.lines.lines import encloses_higher, is_closed
from pipeline.lattice.grid import EastNorth, Mask
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom

SLOPE_LINE_M = isom("101.1").ground_m("length_mm")
"""Length of a slope line on the ground."""


@dataclass(frozen=True)
class Strokes:
    """Strokes that may be drawn, one at each place.

    Attributes
    ----------
    places : (n, 2) float64
        On the contour.
    tips : (n, 2) float64
        Downhill from there.
    turn : (n,) float64
        How sharply the contour turns there, as a sine: negative in a re-entrant, positive on a spur.
    """

    places: EastNorth
    tips: EastNorth
    turn: NDArray[np.float64]

    @classmethod
    def along(cls, places: EastNorth, ahead: EastNorth, behind: EastNorth, /, *, length_m: float) -> Strokes:
        """Strokes from places of a contour, given the ways to the places ahead of and behind each."""
        along = ahead + behind
        along = along / np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
        # Higher ground lies on the left of every contour, so downhill is to the right.
        downhill = np.column_stack([along[:, 1], -along[:, 0]])
        sides = np.hypot(*ahead.T) * np.hypot(*behind.T)
        turn = (behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]) / np.maximum(sides, 1e-9)
        return cls(places, places + length_m * downhill, turn)

    @property
    def middles(self) -> EastNorth:
        """(n, 2) half way along each stroke."""
        return np.asarray((self.places + self.tips) / 2)

    def room_m(self, lines: shapely.STRtree, own: int, /, *, enough_m: float) -> NDArray[np.float64]:
        """(n,) metres from the outer half of each stroke to the nearest line but their own, at most `enough_m`."""
        halves = np.array(
            [shapely.LineString(half) for half in np.stack([self.middles, self.tips], axis=1)], dtype=object
        )
        stroke, line = lines.query(halves, predicate="dwithin", distance=enough_m)
        stroke, line = stroke[line != own], line[line != own]
        room = np.full(len(halves), enough_m)
        np.minimum.at(room, stroke, shapely.distance(halves[stroke], lines.geometries[line]))
        return room

    def best(self, badness: NDArray[np.float64], room_m: NDArray[np.float64], /) -> int:
        """The least bad place of those with the most room; ties go to the north-west."""
        return int(np.lexsort((self.places[:, 0], -self.places[:, 1], np.round(badness, 3), -np.round(room_m, 1)))[0])


RING_PLACES = 24
"""Places around a hollow at which a stroke is tried, one every 15 degrees (our choice)."""


def ring_strokes(ring: EastNorth, /) -> Strokes:
    """Strokes into a hollow, from places around its contour."""
    outline = shapely.LineString(ring)
    along_m = np.arange(RING_PLACES) * outline.length / RING_PLACES
    places = shapely.get_coordinates(shapely.line_interpolate_point(outline, along_m))
    ahead, behind = np.roll(places, -2, axis=0) - places, places - np.roll(places, 2, axis=0)
    return Strokes.along(places, ahead, behind, length_m=SLOPE_LINE_M)


def is_lone(at: Stations, level_m: NDArray[np.float64], /, *, interval_m: float) -> Mask:
    """(n,) bool: stations of lines that have no line of a neighbouring level within reach.

    There nothing but the bends of the line itself tells a reader which side is higher.

    Parameters
    ----------
    level_m : (number of lines,)
    """
    station_level = level_m[at.line]
    lone = np.ones(len(at.line), bool)
    levels = np.unique(level_m)
    trees = {level: cKDTree(at.places[station_level == level]) for level in levels}
    for level in levels:
        own = station_level == level
        for other in levels[(levels != level) & (np.abs(levels - level) <= interval_m + 1e-6)]:
            lone[own] &= np.isinf(trees[other].query(at.places[own], distance_upper_bound=READER_REACH_M)[0])
    return lone


LONE_CONTOUR_MM = 8.0
"""Length on the map of contour without a neighbour in sight in whose middle a slope line may be drawn: there is nothing
else to tell up from down (common practice, no source)."""
TURN_REACH_MM = 0.8
"""How far ahead and behind along a contour its turn is judged, on the map; 12 m on the ground, about the width of a
re-entrant (our choice)."""
ONE_IN_M = 500.0
"""Side of the fixed squares, in metres, in which a lone stretch of contour gets one slope line. The side of a field is
a multiple of it, so that no field needs to know how the stretch goes on in the next (our choice)."""


def _lone_strokes(lone: Mask, places: EastNorth, /, *, closed: bool) -> list[Strokes]:
    """Strokes along each lone stretch of a contour that is long enough to leave a reader in doubt.

    Strokes stand where the contour is alone for half that length both ways.

    Parameters
    ----------
    lone, places : (n,) bool and (n, 2) float64
        Stations of the contour, and which of them are alone.
    """
    if closed:
        places, lone = places[:-1], lone[:-1]
    half = round(ground_m(LONE_CONTOUR_MM) / 2 / STATION_STEP_M)
    alone = ndimage.minimum_filter1d(lone.astype(np.uint8), 2 * half + 1, mode="wrap" if closed else "constant") > 0
    if not alone.any():
        return []
    reach = max(1, round(ground_m(TURN_REACH_MM) / STATION_STEP_M))
    ahead, behind = np.roll(places, -reach, axis=0) - places, places - np.roll(places, reach, axis=0)
    square = np.floor(places / ONE_IN_M)
    starts = (np.diff(alone.astype(np.int8), prepend=alone[-1]) != 0) | (square != np.roll(square, 1, axis=0)).any(
        axis=1
    )
    run = np.cumsum(starts)
    # A ring may begin in the middle of a stretch.
    run = np.where(run == run[-1], 0, run) if closed and not starts[0] else run
    chosen = [np.flatnonzero(alone & (run == number)) for number in np.unique(run[alone])]
    return [Strokes.along(places[own], ahead[own], behind[own], length_m=SLOPE_LINE_M) for own in chosen]


def _choices(line: shapely.LineString, places: EastNorth, lone: Mask, /) -> tuple[str, list[Strokes]]:
    """Why one contour needs slope lines, and the strokes to choose from, one of each."""
    ring = np.asarray(line.coords)[:, :2]
    if not is_whole_ring(ring):
        return "no other contour near", _lone_strokes(lone, places, closed=is_closed(ring))
    if encloses_higher(ring):
        return "", []
    return "closed hollow", [ring_strokes(ring)]


def draft_slope_lines(contours: gpd.GeoDataFrame, /, *, interval_m: float) -> gpd.GeoDataFrame:
    """One slope line in every small closed hollow, which the standard demands, and where a lone contour leaves doubt.

    In a hollow it stands where the contour runs straightest and no other line is near; on a contour without neighbours
    in the sharpest re-entrant. Hollows too large to be seen whole get theirs from `large_hollow_strokes`.

    Parameters
    ----------
    contours : GeoDataFrame
        Features 101, 102 and 103 with higher ground on the left.

    Returns
    -------
    GeoDataFrame of 101.1: LineStrings from the contour downhill, `angle_deg` the way they point.
    """
    if not len(contours):
        return contours
    drawn, level_m = list(contours.geometry), contours["elevation_m"].to_numpy()
    tree = shapely.STRtree(drawn)
    chosen: list[tuple[int, EastNorth, str]] = []
    at = stations(drawn, step_m=STATION_STEP_M)
    lone = is_lone(at, level_m, interval_m=interval_m)
    ends = np.searchsorted(at.line, np.arange(len(drawn) + 1))
    for number, line in enumerate(drawn):
        own = slice(ends[number], ends[number + 1])
        why, choices = _choices(line, at.places[own], lone[own])
        for strokes in choices:
            badness = np.abs(strokes.turn) if why == "closed hollow" else strokes.turn
            best = strokes.best(badness, strokes.room_m(tree, number, enough_m=CONTOURS_APART_M))
            chosen.append((number, np.array([strokes.places[best], strokes.tips[best]]), why))
    return _as_features(contours, chosen)


def large_hollow_strokes(contours: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """One slope line in every closed hollow that is too large for `draft_slope_lines`, where it runs straightest.

    Parameters
    ----------
    contours : GeoDataFrame
        Features 101, 102 and 103 with higher ground on the left, whole and not cut at the border of a field.
    """
    chosen: list[tuple[int, EastNorth, str]] = []
    for number, line in enumerate(contours.geometry):
        ring = shapely.get_coordinates(line)
        if is_closed(ring) and not is_whole_ring(ring) and not encloses_higher(ring):
            strokes = ring_strokes(ring)
            best = strokes.best(np.abs(strokes.turn), np.zeros(len(strokes.turn)))
            chosen.append((number, np.array([strokes.places[best], strokes.tips[best]]), "closed hollow"))
    return _as_features(contours, chosen)


def _as_features(contours: gpd.GeoDataFrame, chosen: list[tuple[int, EastNorth, str]]) -> gpd.GeoDataFrame:
    """The chosen strokes with the confidence and elevation of their contours."""
    numbers = [number for number, _, _ in chosen]
    level_m = contours["elevation_m"].to_numpy()[numbers]
    away = np.array([stroke[1] - stroke[0] for _, stroke, _ in chosen]).reshape(-1, 2)
    return make_features(
        [shapely.LineString(stroke) for _, stroke, _ in chosen],
        crs=str(contours.crs),
        symbol="101.1",
        confidence=contours["confidence"].to_numpy()[numbers],
        evidence=[f"{why} at {height:g} m" for (_, _, why), height in zip(chosen, level_m, strict=True)],
        elevation_m=level_m,
        angle_deg=np.degrees(np.arctan2(away[:, 0], away[:, 1])) % 360,
    )
