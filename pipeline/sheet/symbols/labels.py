"""Elevations on index contours: few, on straight stretches, never over detail, their top on the uphill side.

ISOM 2017-2, 102: a label is 1.5 mm high at 1:15 000, in a sans-serif face, and the contour is interrupted for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from pipeline.sheet.page.ink import Geometries, Places
from pipeline.sheet.symbols.marks import stations

INDEX_CONTOUR = "102"
LABEL_HEIGHT_MM = 1.5
DIGIT_WIDTH_RATIO = 0.80
"""Advance of a digit over its height in the typeface used (Noto Sans: 0.572 em over 0.714 em)."""
PADDING_RATIO = 0.35
"""White on each side of a label over its height (common practice, no source)."""
LARGEST_BEND_RATIO = 0.15
"""How far, over a label's height, the contour may leave the label's axis: a sharper bend would end beside the figures
(ours)."""
CANDIDATE_STEP_MM = 3.0


@dataclass(frozen=True)
class Labels:
    """Elevations to be written on the map.

    Attributes
    ----------
    words : tuple of n texts
    places : (n, 2) float64, millimetres of the map: the middle of each label
    turn_deg : (n,) float64
        Direction of reading, counter-clockwise from the right.
    boxes : (n,) Polygons in which the contour is interrupted
    height_mm : float
    """

    words: tuple[str, ...]
    places: Places
    turn_deg: NDArray[np.float64]
    boxes: Geometries
    height_mm: float


def contour_labels(
    lines: Geometries,
    elevation_m: NDArray[np.float64],
    obstacles: Geometries,
    /,
    *,
    enlarge: float,
    shortest_line_mm: float,
    distance_mm: float,
) -> Labels:
    """Labels for index contours.

    Parameters
    ----------
    lines : (n,) LineStrings in millimetres of the map, higher ground on the left
    elevation_m : (n,) float64; NaN gives no label
    obstacles : (k,) lines and points that no label may touch; other index contours are kept clear as well
    shortest_line_mm : float
        Lines shorter than this get none.
    distance_mm : float
        Least distance between two labels.
    """
    height = LABEL_HEIGHT_MM * enlarge
    tree = shapely.STRtree(np.concatenate([obstacles, lines]))
    chosen: list[tuple[str, Places, float, shapely.Polygon]] = []
    long_enough = np.isfinite(elevation_m) & (shapely.length(lines) >= shortest_line_mm * enlarge)
    # From the highest down, and from north to south: the same labels whatever the order of the features.
    west, north = (shapely.bounds(lines)[:, column] for column in (0, 3))
    order = np.lexsort([west, -north, -elevation_m])
    for i in order[long_enough[order]].tolist():
        words = f"{elevation_m[i]:.4g}"
        width = (len(words) * DIGIT_WIDTH_RATIO + 2 * PADDING_RATIO) * height
        for place, turn, box in _candidates(lines[i], width, height):
            near = any(np.hypot(*(place - other)) < distance_mm * enlarge for _, other, _, _ in chosen)
            if not near and _is_clear(box, lines[i], len(obstacles) + i, tree, height):
                chosen.append((words, place, turn, box))
    return _labels(chosen, height)


def _labels(chosen: Sequence[tuple[str, Places, float, shapely.Polygon]], height: float) -> Labels:
    return Labels(
        tuple(words for words, _, _, _ in chosen),
        np.array([place for _, place, _, _ in chosen]).reshape(-1, 2),
        np.array([turn for _, _, turn, _ in chosen]),
        np.array([box for _, _, _, box in chosen], object),
        height,
    )


def _candidates(line: shapely.LineString, width: float, height: float) -> list[tuple[Places, float, shapely.Polygon]]:
    """Places along a line from its middle outwards, with direction and box of a label there."""
    along = np.arange(width, line.length - width, CANDIDATE_STEP_MM)
    along = along[np.argsort(np.abs(along - line.length / 2), kind="stable")]
    at = stations(np.array([line], object), [along])
    corners = np.array([(-width, -height), (width, -height), (width, height), (-width, height)]) / 2
    found = []
    for place, direction, right in zip(at.places, at.along, at.right, strict=True):
        box = shapely.polygons(place + corners[:, :1] * direction - corners[:, 1:] * right)
        found.append((place, float(np.degrees(np.arctan2(direction[1], direction[0]))), box))
    return found


def _is_clear(box: shapely.Polygon, line: shapely.LineString, own: int, tree: shapely.STRtree, height: float) -> bool:
    """Whether nothing but a straight stretch of the line itself lies in the box."""
    inside = shapely.intersection(line, box)
    corners = shapely.get_coordinates(box)
    axis = shapely.LineString([(corners[0] + corners[3]) / 2, (corners[1] + corners[2]) / 2])
    if shapely.hausdorff_distance(inside, axis) > LARGEST_BEND_RATIO * height:
        return False
    touched = tree.query(box, predicate="intersects")
    return bool(np.all(touched == own))
