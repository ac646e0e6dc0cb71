"""Where the page lies on the earth, for a GPS: ticks of the grid around the map and the coordinates of its corners."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyproj
from affine import Affine
from numpy.typing import NDArray

from pipeline.sheet.page.page import Sheet

STEPS_M = (50, 100, 200, 250, 500, 1000, 2000, 5000, 10_000)
"""Round distances between ticks, metres of the grid."""
LEAST_STEP_MM = 18.0
"""Least distance of ticks on paper, so that their figures of six or seven digits part (our choice)."""
WGS84 = "EPSG:4326"


@dataclass(frozen=True)
class Tick:
    """A mark where a line of the grid meets the frame of the map.

    Attributes
    ----------
    place_mm : where it meets the frame, millimetres of the page
    way : unit vector along the line of the grid, away from the map
    words : the easting or northing, metres
    side : left, right, bottom or top edge of the frame
    """

    place_mm: tuple[float, float]
    way: tuple[float, float]
    words: str
    side: str


@dataclass(frozen=True)
class Corner:
    """A corner of the frame on the ground: metres of the working CRS, and degrees of WGS 84."""

    east_m: float
    north_m: float
    latitude_deg: float
    longitude_deg: float


def tick_step_m(scale: float, /) -> int:
    """Distance of ticks on the ground: the shortest round one that is wide enough on paper."""
    wide = [step for step in STEPS_M if step * 1000 / scale >= LEAST_STEP_MM]
    return wide[0] if wide else STEPS_M[-1]


def ticks(sheet: Sheet, page_from_ground: Affine, step_m: int, /) -> list[Tick]:
    """The ticks on all four edges of the frame, eastings on the edges that run more east than north.

    Parameters
    ----------
    page_from_ground : (east, north) in the working CRS -> millimetres of the page
    """
    window = sheet.window
    left, right, bottom, top = window.left, window.right, window.bottom, window.top
    edges = {
        "bottom": ((left, bottom), (right, bottom), (0.0, -1.0)),
        "top": ((left, top), (right, top), (0.0, 1.0)),
        "left": ((left, bottom), (left, top), (-1.0, 0.0)),
        "right": ((right, bottom), (right, top), (1.0, 0.0)),
    }
    found: list[Tick] = []
    for side, (start, end, outwards) in edges.items():
        found += _ticks_of_edge(side, np.array(start), np.array(end), np.array(outwards), page_from_ground, step_m)
    return found


def _ticks_of_edge(
    side: str,
    start: NDArray[np.float64],
    end: NDArray[np.float64],
    outwards: NDArray[np.float64],
    page_from_ground: Affine,
    step_m: int,
) -> list[Tick]:
    ground = np.array([~page_from_ground @ tuple(start), ~page_from_ground @ tuple(end)])
    run = ground[1] - ground[0]
    # The coordinate that changes along the edge, and the direction on the ground in which it does not.
    axis = int(abs(run[1]) > abs(run[0]))
    still = np.array([float(axis == 1), float(axis == 0)])
    way = np.array([page_from_ground.a, page_from_ground.d]) * still[0]
    way = way + np.array([page_from_ground.b, page_from_ground.e]) * still[1]
    way = way / np.hypot(*way)
    way = way if way @ outwards > 0 else -way
    low, high = sorted(ground[:, axis])
    values = np.arange(np.ceil(low / step_m), np.floor(high / step_m) + 1) * step_m
    shares = (values - ground[0, axis]) / run[axis]
    places = start + shares[:, None] * (end - start)
    return [
        Tick((float(place[0]), float(place[1])), (float(way[0]), float(way[1])), f"{value:.0f}", side)
        for place, value in zip(places, values, strict=True)
    ]


def corners(sheet: Sheet, page_from_ground: Affine, crs: str, /) -> tuple[Corner, ...]:
    """Upper left, upper right, lower left and lower right corner of the frame."""
    window = sheet.window
    to_wgs84 = pyproj.Transformer.from_crs(pyproj.CRS.from_user_input(crs), WGS84, always_xy=True)
    found = []
    for up in (window.top, window.bottom):
        for right in (window.left, window.right):
            east_m, north_m = ~page_from_ground @ (right, up)
            longitude_deg, latitude_deg = to_wgs84.transform(east_m, north_m)
            found.append(Corner(east_m, north_m, latitude_deg, longitude_deg))
    return tuple(found)
