"""What of a new draft says again what a mapper has said already, for it or against it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.borrowed.families import family_of as thing_of
from pipeline.marks.matching import SAME_LINE_M, SAME_POINT_M, family_of
from pipeline.refresh.features.matching import GREENS, OPEN

Shapes = NDArray[np.object_]
GROUND = (*GREENS, *OPEN)
"""Open land and vegetation share the ground among them: where one of them is said, another is not."""
SOLID = ("301", "302", "521")
"""Water and houses: nothing else is drawn in them."""
IN_SOLID = ("1", "2", "4")
"""Points and areas whose symbols begin so give way where water or a house of the mapper's lies."""
WHOLE_RATIO = 0.3
"""Houses and bodies of water that have so much of the smaller one in common are one thing (our choice; roofs overhang
and outlines are drawn anew)."""
LEAST_LINE_M = 10.0
"""A shorter rest of a line of which the mapper's line says the rest is no line of its own, in metres (our choice: less
than a millimetre of map)."""
RIM_M = 2.5
"""Half the width of the widest strip, in metres, that an area leaves around a mapper's area of the same kind and that
is no area of its own (our choice)."""
LEVELS = ("101", "102", "103")
SAME_LEVEL_M = 0.6
"""Contours as near in height as this are of one height (our choice: half of the least contour interval in use)."""


@dataclass(frozen=True)
class Rest:
    """A new draft without what is said already.

    Attributes
    ----------
    features : what is left, in the order it came; lines and areas may have lost a piece
    gone : features that went, wholly or by pieces, with `reason`
    """

    features: gpd.GeoDataFrame
    gone: gpd.GeoDataFrame


def meaning_of(symbol: str, /) -> str:
    """What two maps may call by different symbols: any way, any wall, any boulder; or the symbol itself."""
    main = symbol.partition(".")[0]
    return "ground" if main in GROUND else thing_of(symbol) or family_of(symbol)


def rejected_with(symbol: str, /) -> str:
    """What is rejected together with a symbol: any green with a green, any open land with open land, any boulder."""
    main = symbol.partition(".")[0]
    return "green" if main in GREENS else "open" if main in OPEN else family_of(symbol)


def without_said(draft: gpd.GeoDataFrame, said: gpd.GeoDataFrame, /, *, more_m: float = 0.0) -> Rest:
    """The features of a draft that a mapper's features do not say already.

    Points go that have one of their kind within SAME_POINT_M. Of lines and areas goes what runs along one of their
    kind, or lies on one; a rest that is long or wide enough stays. A rejected feature takes away its own kind alone.

    Parameters
    ----------
    draft : in the frame of the new survey, with `symbol`, `id`, `elevation_m`
    said : the mapper's features in the same frame, with `symbol`, `status`, `elevation_m`
    more_m : how much farther off the mapper's features may lie, such as the error of a shift
    """
    symbols = draft["symbol"].to_numpy(str)
    shapes = draft.geometry.to_numpy().copy()
    groups = _groups(said)
    for row in range(len(draft)):
        for kind in (f"+{meaning_of(symbols[row])}", f"-{rejected_with(symbols[row])}", *_solid_for(symbols[row])):
            if kind in groups and not shapely.is_empty(shapes[row]):
                level_m = float(draft["elevation_m"].iloc[row]) if symbols[row] in LEVELS else float("nan")
                shapes[row] = groups[kind].rest_of(shapes[row], level_m, more_m, is_solid=kind == "=solid")
    changed = ~shapely.equals_exact(shapes, draft.geometry.to_numpy(), 0)
    gone = draft[changed].assign(reason="a mapper's feature says it")
    left = draft.copy()
    left[left.geometry.name] = gpd.GeoSeries(shapes, index=draft.index, crs=draft.crs)
    left = _single(left[~shapely.is_empty(shapes)]) if changed.any() else left
    return Rest(left.reset_index(drop=True), gone.reset_index(drop=True))


def _single(left: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Pieces of what was cut as features of their own: the first has the id, the others the id and their number."""
    parts = left.explode(ignore_index=True)
    number = parts.groupby("id", sort=False).cumcount().to_numpy() + 1
    parts["id"] = [name if n == 1 else f"{name}.{n}" for name, n in zip(parts["id"], number, strict=True)]
    return parts


def _solid_for(symbol: str) -> tuple[str, ...]:
    return ("=solid",) if symbol.startswith(IN_SOLID) else ()


@dataclass(frozen=True)
class _Group:
    """Features of one meaning, to look up by place."""

    shapes: Shapes
    levels_m: NDArray[np.float64]
    is_whole: bool
    tree: shapely.STRtree

    def rest_of(self, shape: BaseGeometry, level_m: float, more_m: float, *, is_solid: bool) -> BaseGeometry:
        """What of a feature these do not say; empty where they say all of it."""
        kind = shapely.get_dimensions(shape)
        if is_solid and kind == 1:
            return shape
        reach_m = 0.0 if is_solid else (SAME_POINT_M, SAME_LINE_M, 0.0)[kind] + (more_m if kind < 2 else 0.0)
        near = np.sort(self.tree.query(shape, predicate="dwithin", distance=reach_m))
        if np.isfinite(level_m):
            near = near[~(np.abs(self.levels_m[near] - level_m) > SAME_LEVEL_M)]
        others = self.shapes[near]
        dimension = shapely.get_dimensions(others)
        if kind == 0:
            return shapely.Point() if len(others) else shape
        if kind == 1:
            return _rest_of_line(shape, others[dimension > 0], reach_m)
        if not is_solid and (dimension == 0).any():
            return shapely.Polygon()
        return _rest_of_area(shape, others[dimension == 2], is_whole=self.is_whole and not is_solid)


def _rest_of_line(line: BaseGeometry, others: Shapes, reach_m: float) -> BaseGeometry:
    if not len(others):
        return line
    ground = shapely.union_all(shapely.buffer(others, reach_m) if reach_m else others)
    rest = shapely.difference(line, ground)
    if shapely.length(rest) >= shapely.length(line) * (1 - 1e-9):
        return line
    parts = shapely.get_parts(shapely.line_merge(rest))
    return shapely.MultiLineString(list(parts[shapely.length(parts) >= LEAST_LINE_M]))


def _rest_of_area(area: BaseGeometry, others: Shapes, *, is_whole: bool) -> BaseGeometry:
    if not len(others):
        return area
    ground = shapely.union_all(others)
    shared = shapely.area(shapely.intersection(area, ground))
    if shared <= 1e-9 * shapely.area(area):
        return area
    if is_whole and shared >= WHOLE_RATIO * min(shapely.area(area), shapely.area(ground)):
        return shapely.Polygon()
    rest = shapely.difference(area, ground)
    wide = shapely.buffer(shapely.buffer(rest, -RIM_M), RIM_M * 1.01)
    parts = shapely.get_parts(shapely.intersection(rest, wide))
    areas = parts[(shapely.get_dimensions(parts) == 2) & (shapely.area(parts) > RIM_M**2 * 4)]
    return shapely.MultiPolygon(list(areas))


def _groups(said: gpd.GeoDataFrame) -> Mapping[str, _Group]:
    """By meaning: what the mapper has on the map (+), what was rejected (-), water and houses on the map (=)."""
    members: dict[str, list[int]] = {}
    for row, (symbol, status) in enumerate(zip(said["symbol"].astype(str), said["status"], strict=True)):
        is_rejected = str(status).strip().casefold() == "rejected"
        members.setdefault(f"-{rejected_with(symbol)}" if is_rejected else f"+{meaning_of(symbol)}", []).append(row)
        if symbol.partition(".")[0] in SOLID and not is_rejected:
            members.setdefault("=solid", []).append(row)
    shapes, levels_m = said.geometry.to_numpy(), said["elevation_m"].to_numpy(np.float64)
    found = {}
    for kind, rows in members.items():
        chosen = shapes[rows]
        if kind == "=solid":
            chosen = chosen[shapely.get_dimensions(chosen) == 2]
        is_whole = not kind.endswith("ground")
        found[kind] = _Group(chosen, levels_m[rows][: len(chosen)], is_whole, shapely.STRtree(chosen))
    return found
