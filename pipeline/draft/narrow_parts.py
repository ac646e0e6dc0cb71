"""Parts of areas that are narrower than the norm lets them be, found by discs of the least width."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.remembered import Remembered, nothing_remembered, packed, unpacked

ROUND_M = 0.29
"""Roundness that corners keep when narrow parts are sought: 0.02 mm on a map at 1:15 000, less than a printer shows
(our choice)."""
TIP_WIDTHS = 2.9
"""Length, in least widths, up to which a narrow part that hangs on broad growth by one end is its tip (our choice)."""
CORNERS = 6
"""Corners of a quarter of a disc: they leave its edge by less than 1 % of its radius, and cost little time."""
LEAST_M2 = 1e-4
"""Less is the rounding of a coordinate, no part."""
BESIDE_WIDTHS = 3.0
"""How far around a narrow part what is broad of its area is told, in least widths: farther than a tip is kept."""

Shapes = NDArray[np.object_]
Rows = NDArray[np.int64]


@dataclass(frozen=True)
class Parts:
    """Narrow parts, n of them: their shapes, the row of the area that each is of, and where each of them may stay.

    Attributes
    ----------
    shapes : (n,) polygons
    owner : (n,) number of the area
    beside : (n,) what of that area is broad enough, within `BESIDE_WIDTHS` around the part at least
    n_ends : (n,) pieces of it that the part touches
    """

    shapes: Shapes
    owner: Rows
    beside: Shapes
    n_ends: Rows


def narrow_parts(areas: Shapes, width_m: NDArray[np.float64], remembered: Remembered = nothing_remembered, /) -> Parts:
    """Parts of areas that no disc of that width, metres, reaches, without corners and tips.

    Parameters
    ----------
    areas : (n,) polygons or multipolygons, possibly empty
    width_m : (n,) least width of each
    remembered : what was found of areas before; buffers take long
    """
    made_from = [area + width.tobytes() for area, width in zip(shapely.to_wkb(areas), width_m, strict=True)]
    found = remembered("narrow parts", made_from, lambda numbers: _as_bytes(_found(areas[numbers], width_m[numbers])))
    of_area = [unpacked(value) for value in found if value]
    if not of_area:
        return Parts(np.empty(0, np.object_), np.empty(0, np.int64), np.empty(0, np.object_), np.empty(0, np.int64))
    shapes, beside = (
        np.concatenate([shapely.get_parts(shapely.from_wkb(one[name].tobytes())) for one in of_area])
        for name in ("shapes", "beside")
    )
    numbers = np.flatnonzero([len(value) > 0 for value in found])
    n_ends = [one["n_ends"].astype(np.int64) for one in of_area]
    return Parts(shapes, np.repeat(numbers, [len(one) for one in n_ends]), beside, np.concatenate(n_ends))


def _as_bytes(parts: list[Parts]) -> list[bytes]:
    """The parts of each area; nothing where it has none."""
    return [
        packed(
            {
                "n_ends": one.n_ends,
                "shapes": np.frombuffer(shapely.to_wkb(shapely.GeometryCollection(list(one.shapes))), np.uint8),
                "beside": np.frombuffer(shapely.to_wkb(shapely.GeometryCollection(list(one.beside))), np.uint8),
            }
        )
        if len(one.shapes)
        else b""
        for one in parts
    ]


def _found(areas: Shapes, width_m: NDArray[np.float64]) -> list[Parts]:
    """The narrow parts of each of (n,) areas."""
    reached = _reached(areas, width_m)
    shapes, area = shapely.get_parts(shapely.difference(areas, reached), return_index=True)
    is_part = (shapely.get_dimensions(shapes) == 2) & (shapely.area(shapes) > LEAST_M2)
    shapes, area = shapes[is_part], area[is_part]
    broad = np.full(len(areas), shapely.Polygon(), np.object_)
    asked = np.unique(area)
    broad[asked] = shapely.intersection(areas[asked], reached[asked])
    n_ends = _ends(shapes, area, broad)
    length_m = shapely.length(shapely.boundary(shapely.convex_hull(shapes))) / 2
    is_narrow = (length_m > TIP_WIDTHS * width_m[area]) | (n_ends != 1)
    shapes, area, n_ends = shapes[is_narrow], area[is_narrow], n_ends[is_narrow]
    around = shapely.bounds(shapes) + (BESIDE_WIDTHS * width_m[area])[:, None] * np.array([-1, -1, 1, 1])
    beside = np.array(
        [_within(broad[row], window) for row, window in zip(area.tolist(), around.tolist(), strict=True)], np.object_
    )
    ends = np.cumsum(np.bincount(area, minlength=len(areas)))[:-1]
    of_area = (np.split(values, ends) for values in (shapes, area, beside, n_ends))
    return [Parts(*one) for one in zip(*of_area, strict=True)]


def _ends(shapes: Shapes, area: Rows, broad: Shapes) -> Rows:
    """(k,) broad pieces of its area that each part touches."""
    pieces, owner = shapely.get_parts(broad, return_index=True)
    # Where edges run along each other there are lines too, which are no part of an area.
    is_area = (shapely.get_dimensions(pieces) == 2) & ~shapely.is_empty(pieces)
    pieces, owner = pieces[is_area], owner[is_area]
    n_pieces = np.bincount(owner, minlength=len(broad))
    n_ends = np.minimum(n_pieces[area], 1)
    # Only in an area of several broad parts can one lie between two: the others need not be asked.
    several = np.flatnonzero(n_pieces[area] > 1)
    if len(several):
        # The pieces are asked for the parts, as what asks is indexed once: pieces have many corners, parts few.
        piece, part = shapely.STRtree(shapes[several]).query(pieces, predicate="dwithin", distance=ROUND_M / 10)
        n_ends[several] = np.bincount(part[area[several[part]] == owner[piece]], minlength=len(several))
    return np.asarray(n_ends, np.int64)


def _within(shape: BaseGeometry, window: list[float]) -> BaseGeometry:
    """What of a shape lies in a window: west, south, east, north."""
    return shapely.clip_by_rect(shape, *window)


def _reached(areas: Shapes, width_m: NDArray[np.float64]) -> Shapes:
    """What discs of that width reach that lie wholly in an area, and ROUND_M more."""
    core = shapely.buffer(areas, -width_m / 2, quad_segs=CORNERS)
    return np.asarray(shapely.buffer(core, width_m / 2 + ROUND_M, quad_segs=CORNERS), np.object_)
