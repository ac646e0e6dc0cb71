"""Geometry as people hand it over, made fit for comparing: mended, split into single parts, in two dimensions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.norm.symbols import SymbolTable

Shapes = NDArray[np.object_]
KIND_OF_DIMENSION = ("point", "line", "area")


@dataclass(frozen=True)
class Single:
    """Single geometries and where they come from.

    Attributes
    ----------
    shapes : (k,) points, lines and polygons
    row : (k,) number of the geometry each is of
    n_mended : how many geometries were invalid
    n_split : how many had several parts
    n_empty : how many have no place at all
    """

    shapes: Shapes
    row: NDArray[np.intp]
    n_mended: int
    n_split: int
    n_empty: int


def single_shapes(given: Shapes, /) -> Single:
    """Geometries mended where invalid and taken apart; lines of no length and areas of no size go.

    Parameters
    ----------
    given : (n,) geometries of any kind, None where there is none
    """
    has_place = ~(shapely.is_missing(given) | shapely.is_empty(given))
    has_place &= np.isfinite(shapely.bounds(given)).all(axis=1)
    rows = np.flatnonzero(has_place)
    flat = shapely.force_2d(given[rows])
    invalid = ~shapely.is_valid(flat)
    flat[invalid] = [_mended(shape) for shape in flat[invalid]]
    parts, index = shapely.get_parts(flat, return_index=True)
    inner, inner_index = shapely.get_parts(parts, return_index=True)  # collections hold multi-part geometries
    index = index[inner_index]
    same = shapely.get_dimensions(inner) == shapely.get_dimensions(flat)[index]
    sized = (shapely.get_dimensions(inner) == 0) | (shapely.length(inner) > 0)
    chosen = same & sized
    n_parts = np.bincount(index[chosen], minlength=len(rows))
    return Single(
        inner[chosen], rows[index[chosen]], int(invalid.sum()), int((n_parts > 1).sum()), int((~has_place).sum())
    )


def _mended(shape: shapely.Geometry) -> shapely.Geometry:
    """A valid geometry of the same dimension where there is one."""
    found = shapely.make_valid(shape)
    wanted = shapely.get_dimensions(shape)
    parts = [part for part in shapely.get_parts(found) if shapely.get_dimensions(part) == wanted]
    return shapely.union_all(parts) if parts else found


def layer_names(symbols_of: NDArray[np.object_], shapes: Shapes, symbols: SymbolTable, /) -> NDArray[np.object_]:
    """(n,) the layer of the draft that each feature lies in: the section of its symbol and the kind of its geometry.

    A feature that is no symbol, and one of the course, lies in `technical_...`.
    """
    dimensions = np.maximum(shapely.get_dimensions(shapes), 0)
    sections = [symbols[number].section if number and number in symbols else "technical" for number in symbols_of]
    names = [f"{section}_{KIND_OF_DIMENSION[d]}" for section, d in zip(sections, dimensions, strict=True)]
    return np.array(names, dtype=object)


def closed_as_areas(symbols_of: NDArray[np.object_], shapes: Shapes, symbols: SymbolTable, /) -> Shapes:
    """Closed lines of symbols that the norm draws as areas only, such as a house drawn by its outline, as areas."""
    made = shapes.copy()
    for row in np.flatnonzero(shapely.is_closed(shapes) & (shapely.get_dimensions(shapes) == 1)):
        number = symbols_of[row]
        if number in symbols and symbols[number].kinds == ("area",) and shapely.get_num_points(shapes[row]) > 3:
            area = shapely.make_valid(shapely.polygons(shapely.get_coordinates(shapes[row])))
            if isinstance(area, shapely.Polygon):
                made[row] = area
    return made
