"""Contours whose bends, spurs and re-entrants are narrower than a line can show."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from scipy.sparse import csr_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from pipeline.audit.finding import TOLERANCE, Finding
from pipeline.audit.printed import Printed

STEP_MM = 0.05
"""Distance of the places along a line that are compared: a fifth of the smallest bend (our choice)."""
WAY_RATIO = 3.0
"""Way along a line between two places over their distance, from which they lie on two flanks of a bend: what
contours are drawn by too (our choice)."""


def too_narrow_bends(printed: Sequence[Printed], /) -> Iterator[Finding]:
    """One finding for each bend, spur or re-entrant of a contour whose flanks lie too near to each other.

    The mouth of a spur or re-entrant is asked to be wider than a bend. What a line shows as a mouth is at least as
    deep as it must be wide.
    """
    for one in printed:
        for rule, figure in (("bend", "min_bend_mm"), ("mouth", "min_mouth_mm")):
            if one.kind == "line" and one.symbol.has(figure):
                yield from _narrow_places(one, rule, one.symbol.mm(figure))


def _narrow_places(one: Printed, rule: str, asked: float) -> Iterator[Finding]:
    """Places of one line where two parts of it lie nearer than asked, neighbouring ones taken together."""
    line = one.shape
    n_steps = max(int(np.ceil(line.length / STEP_MM)), 1)
    along = np.linspace(0, line.length, n_steps + 1)
    places = shapely.get_coordinates(shapely.line_interpolate_point(np.array([line], np.object_), along))
    pairs = cKDTree(places).query_pairs(asked * (1 - TOLERANCE), output_type="ndarray")
    way = along[pairs[:, 1]] - along[pairs[:, 0]]
    if line.is_ring:
        way = np.minimum(way, line.length - way)
    pairs = pairs[way > WAY_RATIO * asked]
    if not len(pairs):
        return
    apart = np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T)
    for group in _grouped(pairs, n_steps + 1):
        nearest = group[np.argmin(apart[group])]
        middle = places[pairs[nearest]].mean(axis=0)
        yield Finding(rule, one.symbol.number, "", asked, float(apart[nearest]), "mm", shapely.Point(middle))


def _grouped(pairs: np.ndarray, n_places: int) -> list[np.ndarray]:
    """Numbers of the pairs, those together whose places follow each other on the line."""
    near = np.unique(pairs)
    follow = near[:-1][np.diff(near) == 1]
    links = np.concatenate([pairs, np.column_stack([follow, follow + 1])])
    graph = csr_array((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=(n_places, n_places))
    _, group = connected_components(graph, directed=False)
    of_pair = group[pairs[:, 0]]
    return [np.flatnonzero(of_pair == number) for number in np.unique(of_pair)]
