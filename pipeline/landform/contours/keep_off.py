"""Contours bent around the symbols of knolls and hollows, which no brown line may touch."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.landform.contours.legibility import close_approaches
from pipeline.landform.contours.limits import CONTOUR_LINE_MM, CONTOURS_APART_M
from pipeline.landform.contours.rings import are_small_rings
from pipeline.landform.lines.lines import is_closed, thin_vertices
from pipeline.lattice.grid import EastNorth, Grid, Heights
from pipeline.lattice.sampling import sample
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom
from pipeline.terrain.relief import slope


@dataclass(frozen=True)
class Symbols:
    """Point symbols that lines keep off.

    Attributes
    ----------
    places : (n, 2) float64, metres
    clear_m : (n,) float64
        Distance from the middle that the middle of a line must keep.
    push_m : (n,) float64
        Farthest a line may be moved there.
    """

    places: EastNorth
    clear_m: NDArray[np.float64]
    push_m: NDArray[np.float64]


ROOM_LIKE = {"109": "109", "110": "109", "111": "111", "112": "112"}
"""The symbol whose longer side is the room that lines leave a point symbol. An elongated knoll (110) gets that of a
round one: the 0.8 mm of its long side would push lines off its narrow flanks, where they have room."""


def symbols_of(points: gpd.GeoDataFrame, surface: Heights, grid: Grid, /, *, max_shift_m: float) -> Symbols:
    """The symbols of knolls and hollows, with the room the standard's sizes give them.

    Parameters
    ----------
    points : GeoDataFrame
        Features 109 to 112.
    max_shift_m : float
        How far in height a line may be moved; on steep ground it may therefore move but little in plan.
    """
    places = shapely.get_coordinates(points.geometry)
    drawn_like = [isom(ROOM_LIKE[number]) for number in points["symbol"]]
    symbol_mm = np.array([max(symbol.mm("length_mm"), symbol.mm("width_mm")) for symbol in drawn_like])
    # Half the symbol, half the line, and half a line's width of white between them.
    clear_m = ground_m(1.0) * (symbol_mm / 2 + CONTOUR_LINE_MM)
    rise = np.tan(np.radians(np.nan_to_num(sample(slope(surface, grid), grid, places))))
    return Symbols(places, clear_m, np.minimum(max_shift_m / np.maximum(rise, 0.01), clear_m))


def bend_around(lines: list[EastNorth], symbols: Symbols, /, *, apart_m: float, least_side_m: float) -> list[EastNorth]:
    """The lines moved away from symbols: farthest beside the symbol, not at all from twice its room on.

    All lines near a symbol are moved by the same rule, which never turns their order around, so that lines that did not
    cross do not cross afterwards. Where they would come nearer than `apart_m` to each other they are moved by half, or
    left. A line nearer than `least_side_m` to the middle of a symbol has no side to bend to and is given one.
    """
    bent = list(lines)
    drawn = np.array([shapely.LineString(line) for line in lines], dtype=object)
    for place, clear_m, push_m in zip(symbols.places, symbols.clear_m, symbols.push_m, strict=True):
        away_m = shapely.distance(drawn, shapely.Point(place))
        if not (away_m < clear_m).any():
            continue
        middle = _with_a_side(place, drawn[np.argmin(away_m)], least_side_m=least_side_m)
        reach_m = 2 * float(clear_m) + least_side_m
        around = np.flatnonzero(away_m <= reach_m + apart_m)
        room = shapely.Point(place).buffer(reach_m + apart_m)
        crowded = _crowded_m(drawn[around], room, apart_m=apart_m)
        for share in (1.0, 0.5, 0.25):
            push = share * float(push_m)
            moved = [_bent(bent[number], middle, clear_m=float(clear_m), push_m=push) for number in around]
            shapes = np.array([shapely.LineString(line) for line in moved], dtype=object)
            if _crowded_m(shapes, room, apart_m=apart_m) > crowded:
                continue
            drawn[around] = shapes
            for number, line in zip(around, moved, strict=True):
                bent[number] = line
            break
    return bent


def _crowded_m(lines: NDArray[np.object_], room: shapely.Polygon, /, *, apart_m: float) -> int:
    """Metres of line within a room that run nearer than `apart_m` to another line or another part of their own."""
    # A ring is cut where it begins as well; merging heals that.
    parts = shapely.get_parts(shapely.line_merge(shapely.intersection(lines, room)))
    inside = [shapely.get_coordinates(part) for part in parts if part.geom_type == "LineString" and part.length > 0]
    first, second, _ = close_approaches(inside, apart_m=apart_m)
    return len(np.unique(np.concatenate([first, second]), axis=0))


LEAST_SIDE_M = 1.0
"""A line that passes nearer than this to the middle of a symbol has no side to bend to and is given one: half the width
of a contour on the ground (our choice)."""


def keep_off(
    lines: gpd.GeoDataFrame,
    points: gpd.GeoDataFrame,
    surface: Heights,
    grid: Grid,
    /,
    *,
    max_shift_m: float,
    vertex_spacing_m: float,
) -> gpd.GeoDataFrame:
    """Contours and form lines bent, not cut, around the symbols of knolls and hollows, as far as the standard allows.

    Where the ground is so steep that a line would have to be off in height by more than `max_shift_m`, it still touches
    the symbol; the mapper decides there.

    Parameters
    ----------
    lines, points : GeoDataFrame
        Features 101 to 103, and 109 to 112.
    max_shift_m : float
        How far in height a line may be moved.
    vertex_spacing_m : float
        Least distance on the ground between two vertices of a line.
    """
    if not len(lines) or not len(points):
        return lines
    symbols = symbols_of(points, surface, grid, max_shift_m=max_shift_m)
    # Thinning the bend afterwards cuts its corners by up to a quarter of a step.
    apart_m = CONTOURS_APART_M + vertex_spacing_m / 4
    ways = [np.asarray(line.coords)[:, :2] for line in lines.geometry]
    moved = bend_around(ways, symbols, apart_m=apart_m, least_side_m=LEAST_SIDE_M)
    bent = _thinned_where_bent(ways, moved, spacing_m=vertex_spacing_m)
    small = are_small_rings(bent)
    bent = [before if too_small else after for before, after, too_small in zip(ways, bent, small, strict=True)]
    return lines.set_geometry([shapely.LineString(way) for way in bent], crs=lines.crs)


def _thinned_where_bent(before: list[EastNorth], after: list[EastNorth], /, *, spacing_m: float) -> list[EastNorth]:
    """The bent lines with few vertices where they were bent and their own elsewhere."""
    parts = [[new] if new is old else _parts_bent(old, new) for old, new in zip(before, after, strict=True)]
    # A part of two vertices was not bent.
    bent = [
        (line, number)
        for line, (old, new) in enumerate(zip(before, after, strict=True))
        for number, part in enumerate(parts[line])
        if new is not old and len(part) > 2
    ]
    thin = thin_vertices([parts[line][number] for line, number in bent], spacing_m=spacing_m)
    for (line, number), part in zip(bent, thin, strict=True):
        parts[line][number] = part
    return [np.concatenate([own[0][:1], *(part[1:] for part in own)]) for own in parts]


def _parts_bent(before: EastNorth, after: EastNorth, /) -> list[EastNorth]:
    """A bent line cut at all vertices that it had before; each part begins where the one before ends."""
    own = {(float(east), float(north)) for east, north in before}
    is_own = np.array([(float(east), float(north)) in own for east, north in after])
    if is_closed(after) and is_own.any() and not is_own[0]:
        # A ring may begin anywhere; begun where it was not bent, the rest of it can stay.
        first = int(np.argmax(is_own))
        after = np.concatenate([after[first:-1], after[: first + 1]])
        is_own = np.concatenate([is_own[first:-1], is_own[: first + 1]])
    is_own[[0, -1]] = True
    return [after[start : end + 1] for start, end in itertools.pairwise(np.flatnonzero(is_own).tolist())]


def _with_a_side(place: EastNorth, nearest: shapely.LineString, /, *, least_side_m: float) -> EastNorth:
    """The middle to bend away from: moved off a line that runs straight through it."""
    along_m = nearest.project(shapely.Point(place))
    foot = np.array(nearest.interpolate(along_m).coords[0])
    away = place - foot
    distance_m = float(np.hypot(*away))
    if distance_m >= least_side_m:
        return place
    if distance_m < 1e-6:
        before, after = (np.array(nearest.interpolate(max(along_m + step, 0)).coords[0]) for step in (-0.5, 0.5))
        away = np.array([before[1] - after[1], after[0] - before[0]])
        distance_m = max(float(np.hypot(*away)), 1e-6)
    return np.asarray(foot + away / distance_m * least_side_m)


def _bent(line: EastNorth, middle: EastNorth, /, *, clear_m: float, push_m: float) -> EastNorth:
    """One line with the part within twice the room moved outwards."""
    dense = _densified_near(line, middle, within_m=2 * clear_m)
    away = dense - middle
    distance_m = np.hypot(away[:, 0], away[:, 1])
    # Beyond the room nothing need move; the push fades out to there so that the bend joins smoothly.
    needed = np.minimum(push_m, clear_m) * np.clip(1 - distance_m / (2 * clear_m), 0, 1)
    moved = dense + away / np.maximum(distance_m, 1e-9)[:, None] * needed[:, None]
    if np.array_equal(line[0], line[-1]):
        moved[-1] = moved[0]
    return np.asarray(moved)


STEP_M = 0.25
"""Spacing of the vertices of a line while it is bent beside a symbol, small enough for a round bend (our choice)."""


def _densified_near(line: EastNorth, middle: EastNorth, /, *, within_m: float) -> EastNorth:
    """The line with a vertex every `STEP_M` near a place."""
    step = np.diff(line, axis=0)
    length_m = np.hypot(step[:, 0], step[:, 1])
    centre = line[:-1] + step / 2 - middle
    is_near = np.hypot(centre[:, 0], centre[:, 1]) <= within_m + length_m / 2
    n_steps = np.where(is_near, np.maximum(np.ceil(length_m / STEP_M), 1), 1).astype(np.int64)
    segment = np.repeat(np.arange(len(step)), n_steps)
    number = np.arange(len(segment)) - np.repeat(np.cumsum(n_steps) - n_steps, n_steps)
    dense = line[segment] + (number / n_steps[segment])[:, None] * step[segment]
    return np.concatenate([dense, line[-1:]])
