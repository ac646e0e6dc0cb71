"""Whether the contour interval suits the ground: how much of the area is steep, told from its own contours."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from pipeline.sheet.page.ink import Geometries

FLAT_INTERVAL_M = 2.5
"""The norm's interval for flat terrain (ISOM 2017-2, 101)."""
STEEP_PERCENT = 25
"""Slope from which contours every 2.5 m crowd: they are 10 m apart, two thirds of a millimetre at 1:15 000 (ours)."""
STEEP_SHARE = 0.25
"""Share of the area that must be as steep before the sheet says a word (our choice)."""
SQUARE_M = 100.0
"""Side of the squares in which the slope is told, in metres: a hillside, not a single bank (our choice)."""


def steep_percent(contours: Geometries, outline: Polygon | MultiPolygon, /, *, scale: int, interval_m: float) -> int:
    """Share of the area steeper than STEEP_PERCENT, in percent; 0 where it is small or the interval is the usual.

    The mean slope of a square is the length of its contours times the interval over its area.

    Parameters
    ----------
    contours : (n,) LineStrings in millimetres of the map, all levels, each once
    outline : the mapped area in millimetres of the map
    """
    if interval_m > FLAT_INTERVAL_M or not len(contours):
        return 0
    west, south, east, north = outline.bounds
    columns, rows = (max(1, round(span * scale / 1000 / SQUARE_M)) for span in (east - west, north - south))
    across, up = np.linspace(west, east, columns + 1), np.linspace(south, north, rows + 1)
    length_mm = _length_by_square(contours, across, up)
    left, bottom = (side.ravel() for side in np.meshgrid(across[:-1], up[:-1], indexing="ij"))
    right, top = (side.ravel() for side in np.meshgrid(across[1:], up[1:], indexing="ij"))
    squares = shapely.box(left, bottom, right, top)
    area_mm2 = shapely.area(shapely.intersection(squares, outline))
    is_in = area_mm2 > 0.5 * shapely.area(squares)
    slope = length_mm[is_in] / area_mm2[is_in] * interval_m * 1000 / scale
    share = float(np.sum(area_mm2[is_in][100 * slope > STEEP_PERCENT]) / max(outline.area, 1e-9))
    return round(100 * share) if share >= STEEP_SHARE else 0


def _length_by_square(lines: Geometries, across: NDArray[np.float64], up: NDArray[np.float64]) -> NDArray[np.float64]:
    """Length of the lines in each square between the edges given, square by square from south to north, then east."""
    # Steps so short that each lies in the square of its middle, but for a few.
    fine = shapely.segmentize(lines, (across[1] - across[0]) / 10)
    places, line = shapely.get_coordinates(fine, return_index=True)
    is_step = line[1:] == line[:-1]
    lengths = np.hypot(*np.diff(places, axis=0).T)[is_step]
    middles = ((places[1:] + places[:-1]) / 2)[is_step]
    n = len(up) - 1
    column = np.clip(np.searchsorted(across, middles[:, 0], side="right") - 1, 0, len(across) - 2)
    row = np.clip(np.searchsorted(up, middles[:, 1], side="right") - 1, 0, n - 1)
    return np.asarray(np.bincount(column * n + row, weights=lengths, minlength=(len(across) - 1) * n), np.float64)
