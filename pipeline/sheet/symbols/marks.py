"""What a drawing of a symbol works on: features of one symbol on the map's millimetres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.norm.symbols import Kind, Symbol
from pipeline.sheet.page.ink import Geometries, Places


@dataclass(frozen=True)
class Marks:
    """Features of one symbol, ready to be drawn.

    Attributes
    ----------
    symbol : Symbol
    kind : point, line or area
    geometry : (n,) shapely geometries of that kind, millimetres of the map
    turn_deg : (n,) float64
        Clockwise from magnetic north, which is up; NaN where the feature has no direction.
    elevation_m : (n,) float64
        Of contours; NaN elsewhere.
    enlarge : float
        Size on the map over the size in the norm: 1.5 at 1:10 000 (ISOM 2017-2, 2.2).
    anchor_mm : pair of floats
        Place of the map's corner, counted from the origin of the CRS: patterns are laid out from there, so that they
        do not move when the outline of the area does.
    no_tags_in : where the lines of this symbol leave out their tags
    beside : for each line, where it leaves out its tags because another line lies too near
    """

    symbol: Symbol
    kind: Kind
    geometry: Geometries
    turn_deg: NDArray[np.float64]
    elevation_m: NDArray[np.float64]
    enlarge: float
    anchor_mm: tuple[float, float] = (0.0, 0.0)
    no_tags_in: BaseGeometry | None = None
    beside: tuple[BaseGeometry, ...] | None = None

    def mm(self, figure: str, /) -> float:
        """A figure of the symbol as drawn at the map's scale."""
        return self.symbol.mm(figure) * self.enlarge

    @property
    def places(self) -> Places:
        """(n, 2): where the points are."""
        return shapely.get_coordinates(self.geometry)


@dataclass(frozen=True)
class Stations:
    """Places along lines and the directions there.

    Attributes
    ----------
    places : (n, 2) float64, millimetres of the map
    along, right : (n, 2) float64
        Unit vectors along the line and to the right of it.
    """

    places: Places
    along: Places
    right: Places


def stations(lines: Geometries, along_mm: list[NDArray[np.float64]], /) -> Stations:
    """Places at the given distances along each line.

    Parameters
    ----------
    lines : (n,) LineStrings
    along_mm : n arrays of distances from the line's start
    """
    counts = [len(distances) for distances in along_mm]
    owner = np.repeat(np.arange(len(lines)), counts)
    if not len(owner):
        nothing = np.empty((0, 2))
        return Stations(nothing, nothing, nothing)
    distance = np.concatenate(along_mm)
    owners, length = lines[owner], shapely.length(lines)[owner]
    # The direction is taken over a twentieth of a millimetre: less than the eye sees, more than rounding.
    before = shapely.line_interpolate_point(owners, np.maximum(distance - 0.05, 0))
    after = shapely.line_interpolate_point(owners, np.minimum(distance + 0.05, length))
    step = shapely.get_coordinates(after) - shapely.get_coordinates(before)
    step /= np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    places = shapely.get_coordinates(shapely.line_interpolate_point(owners, distance))
    return Stations(places, step, np.column_stack([step[:, 1], -step[:, 0]]))


def evenly(lines: Geometries, /, *, spacing_mm: float, ends: bool) -> list[NDArray[np.float64]]:
    """Distances along each line about `spacing_mm` apart, stretched to fit it.

    With `ends` the first and last lie on the ends of the line (once, where it closes); without, half a step inside.
    """
    found: list[NDArray[np.float64]] = []
    for length, closed in zip(shapely.length(lines), shapely.is_ring(lines), strict=True):
        n = max(1, round(length / spacing_mm))
        if closed or not ends:
            found.append((np.arange(n) + 0.5) * length / n)
        else:
            found.append(np.arange(n + 1) * length / n)
    return found


def fitted_dashes(lines: Geometries, /, *, dash_mm: float, gap_mm: float) -> list[tuple[float, ...]]:
    """Dash and gap for each line, stretched so that it begins and ends with a whole dash."""
    found: list[tuple[float, ...]] = []
    for length, closed in zip(shapely.length(lines), shapely.is_ring(lines), strict=True):
        if closed:
            n = max(1, round(length / (dash_mm + gap_mm)))
            stretch = length / (n * (dash_mm + gap_mm))
        else:
            n = max(1, round((length + gap_mm) / (dash_mm + gap_mm)))
            stretch = length / (n * dash_mm + (n - 1) * gap_mm)
        found.append((dash_mm * stretch, gap_mm * stretch))
    return found


def segments(start: Places, end: Places, /) -> Geometries:
    """Straight lines from each start to each end."""
    return np.asarray(shapely.linestrings(np.stack([start, end], 1)), object)
