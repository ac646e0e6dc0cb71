"""Contours interrupted where the ground is too steep for as many lines as it has: the norm's gap is kept."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.draft.spacing.extent import gap_m, half_line_m
from pipeline.norm.symbols import SymbolTable

ENDS_M = 1.5
"""What is cut beyond the place with too little room, so that the end of the line keeps its gap too (our choice)."""
BRIDGE_M = 22.0
"""Pieces of a line between two cuts that are shorter than this go as well: a millimetre and a half of contour between
two gaps says nothing (our choice)."""
SHORT = 0.97
"""Share of the gap from which a place counts as kept: printed sizes may differ by 5 % (ISOM 2000)."""
INDEX = "102"
MARK_CLEAR_M = 1.0
"""White that is left between a contour's end and a point symbol: 0.07 mm of map (our choice)."""
WEAK = ("103", "101", "102")
"""Which line is interrupted first: a form line, then a contour, the index contour last."""


@dataclass(frozen=True)
class Cut:
    """Lines after cutting.

    Attributes
    ----------
    lines : (m,) lines, some of several parts, empty where nothing is left
    cut_m : (m,) float64, length that was taken out of each
    """

    lines: NDArray[np.object_]
    cut_m: NDArray[np.float64]


def cut_crowded(
    lines: NDArray[np.object_],
    numbers: NDArray[np.str_],
    owner: NDArray[np.int64],
    firm: NDArray[np.object_],
    firm_clear_m: NDArray[np.float64],
    marks: NDArray[np.object_],
    symbols: SymbolTable,
    /,
) -> Cut:
    """Contours with the stretches taken out in which they are too near to a stronger one, or run along a bank.

    Of two contours of one symbol the one that is too near to others over the greater length is cut: of three that lie
    too close that is the middle one. A contour may cross a bank or gully, which is no reason to cut it.

    Parameters
    ----------
    owner : (m,) which contour each is a piece of: pieces of one meet
    firm : (k,) banks, earth walls and gullies
    firm_clear_m : (k,) half of what each covers and the white to be kept from it
    marks : what point symbols cover, and banks that no contour crosses
    """
    left = lines.copy()
    half = np.array([half_line_m(symbols[text]) for text in numbers])
    gap = np.array([gap_m(symbols[text]) for text in numbers])
    pairs = [(a, b) for a, b in _near_pairs(lines, half, gap) if owner[a] != owner[b]]
    beside = _partners(pairs, len(lines))
    crowded = np.zeros(len(lines))
    for a, b in pairs:
        crowded[[a, b]] += shapely.length(_too_near(lines[a], lines[b], _asked_m(half, gap, a, b)))
    around: list[list[BaseGeometry]] = [[] for _ in lines]
    for row, mark in zip(*shapely.STRtree(marks).query(lines, "dwithin", half.max() + MARK_CLEAR_M), strict=True):
        around[row].append(marks[mark])
    rank = np.array([WEAK.index(text) for text in numbers])
    for row in np.lexsort((np.arange(len(lines)), -crowded, rank)).tolist():
        others = beside[row]
        taken = [_too_near(left[row], left.item(other), _asked_m(half, gap, row, other)) for other in others]
        taken += [_too_near(left[row], mark, half[row] + MARK_CLEAR_M) for mark in around[row]]
        taken += _along(left[row], firm, firm_clear_m + half[row])
        zones = shapely.union_all([shapely.buffer(zone, ENDS_M) for zone in taken if zone.length > 0])
        if not zones.is_empty:
            left[row] = _without(left[row], zones)
    return Cut(left, shapely.length(lines) - shapely.length(left))


THIN_ENDS_M = 6.0
"""What is drawn thin beyond such a place, so that the line does not change its width for a moment (our choice)."""


def thin_index(
    lines: NDArray[np.object_], numbers: NDArray[np.str_], symbols: SymbolTable, /
) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """Index contours by what stays thick and what is drawn as thin as a contour, since others lie too near for more.

    The norm lets an index contour fall back to a contour in dense detail (ISOM 102).

    Returns
    -------
    (m,) lines, index contours without their thin stretches, and (m,) those stretches, empty for all others.
    """
    thick, thin = lines.copy(), np.full(len(lines), shapely.LineString(), np.object_)
    half = np.array([half_line_m(symbols[text]) for text in numbers])
    gap = np.array([gap_m(symbols[text]) for text in numbers])
    pairs = _near_pairs(lines, half, gap)
    beside = _partners(pairs, len(lines))
    for row in np.flatnonzero(numbers == INDEX).tolist():
        others = beside[row]
        zones = [_too_near(lines[row], lines[other], _asked_m(half, gap, row, other)) for other in others]
        dense = shapely.union_all([shapely.buffer(zone, THIN_ENDS_M) for zone in zones if zone.length > 0])
        if dense.is_empty:
            continue
        rest = shapely.get_parts(shapely.line_merge(shapely.difference(lines[row], dense), directed=True))
        kept = shapely.union_all([part for part in rest if part.length >= BRIDGE_M])
        thick[row] = shapely.line_merge(kept, directed=True) if not kept.is_empty else shapely.LineString()
        # Ends that were worked out lie beside the line by rounding, so that what is taken away has a breadth.
        taken = shapely.buffer(kept, 1e-6, cap_style="flat")
        thin[row] = shapely.line_merge(shapely.difference(lines[row], taken), directed=True)
    return thick, thin


PIECE_SEGMENTS = 16
"""Segments of a line that are looked at as one when others are sought near it; decides speed alone."""


def _near_pairs(
    lines: NDArray[np.object_], half: NDArray[np.float64], gap: NDArray[np.float64]
) -> list[tuple[int, int]]:
    """Pairs of lines that come nearer to each other than they may, the smaller number first, in rising order."""
    if len(lines) < 2:
        return []
    # The box around a contour holds half of the others: short pieces have few others near.
    pieces, line = _pieces(lines)
    within_m = float(2 * half.max() + gap.max())
    one, other = shapely.STRtree(pieces).query(pieces, predicate="dwithin", distance=within_m)
    is_pair = line[one] < line[other]
    one, other = one[is_pair], other[is_pair]
    a, b = line[one], line[other]
    asked_m = half[a] + half[b] + SHORT * np.minimum(gap[a], gap[b])
    is_near = shapely.distance(pieces[one], pieces[other]) < asked_m
    return [(int(a), int(b)) for a, b in np.unique(np.column_stack((a, b))[is_near], axis=0)]


def _pieces(lines: NDArray[np.object_]) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """The lines in short pieces, and the number of the line that each is of."""
    parts, line = shapely.get_parts(lines, return_index=True)
    n_vertices = shapely.get_num_coordinates(parts)
    parts, line, n_vertices = parts[n_vertices > 0], line[n_vertices > 0], n_vertices[n_vertices > 0]
    n_pieces = -(-(n_vertices - 1) // PIECE_SEGMENTS)
    part = np.repeat(np.arange(len(parts)), n_pieces)
    place = np.arange(len(part)) - np.repeat(np.cumsum(n_pieces) - n_pieces, n_pieces)
    n = np.minimum(n_vertices[part] - 1 - PIECE_SEGMENTS * place, PIECE_SEGMENTS) + 1
    begins = (np.cumsum(n_vertices) - n_vertices)[part] + PIECE_SEGMENTS * place
    piece = np.repeat(np.arange(len(part)), n)
    vertex = begins[piece] + np.arange(len(piece)) - np.repeat(np.cumsum(n) - n, n)
    coordinates = shapely.get_coordinates(parts)[vertex]
    return np.asarray(shapely.linestrings(coordinates, indices=piece), np.object_), line[part]


def _partners(pairs: list[tuple[int, int]], n: int) -> list[list[int]]:
    """For each of n lines those that it makes a pair with, in the order of the pairs."""
    found: list[list[int]] = [[] for _ in range(n)]
    for a, b in pairs:
        found[a].append(b)
        found[b].append(a)
    return found


def _asked_m(half: NDArray[np.float64], gap: NDArray[np.float64], a: int, b: int) -> float:
    """Least distance of the middles of two lines."""
    return float(half[a] + half[b] + SHORT * min(gap[a], gap[b]))


def _too_near(line: BaseGeometry, other: BaseGeometry, asked_m: float) -> BaseGeometry:
    """The stretches of a line that are nearer to another than asked."""
    if line.is_empty or other.is_empty or line.distance(other) >= asked_m:
        return shapely.LineString()
    return shapely.intersection(line, shapely.buffer(other, asked_m))


def _along(line: BaseGeometry, firm: NDArray[np.object_], clear_m: NDArray[np.float64]) -> list[BaseGeometry]:
    """The stretches of a line that run beside firm lines without crossing them."""
    if not len(firm):
        return []
    found: list[BaseGeometry] = []
    for other in np.flatnonzero(shapely.distance(firm, line) < clear_m).tolist():
        zone = shapely.get_parts(shapely.line_merge(_too_near(line, firm[other], float(clear_m[other]))))
        found += [part for part in zone if part.distance(firm[other]) > TOUCH_M]
    return found


TOUCH_M = 0.3
"""Two lines nearer than this meet or cross: 0.02 mm of map."""


def _without(line: BaseGeometry, zones: BaseGeometry) -> BaseGeometry:
    """A line without what lies in zones, and without the short pieces that this leaves between two cuts."""
    rest = shapely.line_merge(shapely.difference(line, zones), directed=True)
    ends = shapely.get_coordinates(line)[[0, -1]]
    is_ring = bool(shapely.is_closed(line)) if line.geom_type == "LineString" else False
    kept = []
    for part in shapely.get_parts(rest):
        own = shapely.get_coordinates(part)[[0, -1]]
        is_end = not is_ring and bool((own[0] == ends[0]).all() or (own[1] == ends[1]).all())
        if part.length >= BRIDGE_M or (is_end and part.length >= BRIDGE_M / 2):
            kept.append(part)
    return shapely.MultiLineString(kept)
