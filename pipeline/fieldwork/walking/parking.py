"""Where the car stands: given by the mapper, or guessed from roads that lead into the area."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from pipeline.lattice.grid import EastNorth

AT_EDGE_M = 15.0
"""A road that comes so near to the edge of the area leads out of it: ends of drawn roads lie a little inside (our
choice)."""
APART_M = 200.0
"""Least distance between two guessed parking places (our choice)."""
MOST_GUESSED = 8
"""Parking places guessed at most, so that an area with many roads is planned in bounded time (our choice)."""


def guess_parking(outline: Polygon | MultiPolygon, roads: Sequence[shapely.Geometry], /) -> tuple[EastNorth, str]:
    """Places where roads reach the edge of the area, in a fixed order, and a sentence that says how they were found.

    Without such a road they are the corners of the rectangle around the area, as far as they lie on its rim.

    Parameters
    ----------
    roads : lines of roads and tracks, the largest first
    """
    edge = outline.boundary.buffer(AT_EDGE_M)
    found: list[shapely.Point] = []
    for road in roads:
        for part in shapely.get_parts(shapely.intersection(road, edge)):
            place = shapely.ops.nearest_points(outline.boundary, part)[1] if not part.is_empty else None
            if place is not None and all(place.distance(other) >= APART_M for other in found):
                found.append(place)
    if found:
        return shapely.get_coordinates(found[:MOST_GUESSED]), (
            "Parking is guessed: where a road or track reaches the edge of the area. "
            "Write 'parking:' into the area file to choose another place."
        )
    corners = shapely.get_coordinates(shapely.box(*outline.bounds))[:4]
    rim = [shapely.ops.nearest_points(outline.boundary, shapely.Point(corner))[0] for corner in corners]
    return shapely.get_coordinates(rim), (
        "Parking is guessed: no road or track reaches the edge of the area, so walks start at its nearest corner. "
        "Write 'parking:' into the area file to choose another place."
    )


def best_of(minutes_from: NDArray[np.float64], /) -> int:
    """The place from which all stops together are nearest.

    Parameters
    ----------
    minutes_from : (parking places, stops), infinite where no way leads
    """
    reached = np.where(np.isfinite(minutes_from), minutes_from, 1e6)
    return int(np.argmin(reached.mean(axis=1)))
