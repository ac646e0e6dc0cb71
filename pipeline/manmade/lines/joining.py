"""Pieces of lines joined where one goes straight on with another over a gap."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry import LineString

MEET_M = 2.0
"""Gaps in metres up to which only the directions of the pieces count: that of so short a gap says nothing (our
choice)."""

Floats = NDArray[np.float64]


def joined_over_gaps(lines: list[LineString], /, *, gap_m: float, turn_deg: float, look_m: float) -> list[LineString]:
    """The lines, joined where ends go straight on with each other; each end joins one other, the nearest first.

    Parameters
    ----------
    gap_m : longest gap
    turn_deg : most degrees between the directions of the ends, and between them and the gap
    look_m : length at the end of a line over which its direction is told
    """
    if len(lines) < 2:
        return list(lines)
    end, ahead = _ends(lines, look_m)
    pairs = cKDTree(end).query_pairs(gap_m, output_type="ndarray")
    pairs = pairs[pairs[:, 0] // 2 != pairs[:, 1] // 2]
    one, other = pairs.T
    gap = end[other] - end[one]
    length = np.hypot(gap[:, 0], gap[:, 1])
    unit = gap / np.maximum(length, 1e-9)[:, None]
    least = np.cos(np.radians(turn_deg))
    is_on = -np.einsum("ij,ij->i", ahead[one], ahead[other]) >= least
    leaves, comes = np.einsum("ij,ij->i", ahead[one], unit), -np.einsum("ij,ij->i", ahead[other], unit)
    straight = np.minimum(leaves, comes) >= least
    chosen = np.flatnonzero(is_on & (straight | (length <= MEET_M)))
    chosen = chosen[np.lexsort((other[chosen], one[chosen], length[chosen]))]
    return _chains(lines, [(int(one[k]), int(other[k])) for k in chosen])


def _ends(lines: list[LineString], look_m: float) -> tuple[Floats, Floats]:
    """(2 n, 2) first and last place of each line, and the unit vectors that point out of it there."""
    geometry = np.array(lines, object)
    length = shapely.length(geometry)
    look = np.minimum(look_m, length)
    at = np.stack((np.zeros(len(lines)), length)).T.ravel()
    inner = np.stack((look, length - look)).T.ravel()
    twice = np.repeat(geometry, 2)
    end = shapely.get_coordinates(shapely.line_interpolate_point(twice, at))
    step = end - shapely.get_coordinates(shapely.line_interpolate_point(twice, inner))
    return end, step / np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-9)[:, None]


def _chains(lines: list[LineString], links: list[tuple[int, int]]) -> list[LineString]:
    """The lines with their ends linked, each end once and none in a ring; end 2 k begins line k, 2 k + 1 ends it."""
    partner: dict[int, int] = {}
    root = list(range(len(lines)))

    def find(line: int) -> int:
        while root[line] != line:
            line = root[line]
        return line

    for one, other in links:
        a, b = find(one // 2), find(other // 2)
        if one not in partner and other not in partner and a != b:
            partner[one], partner[other] = other, one
            root[a] = b
    done: set[int] = set()
    found = []
    for line in range(len(lines)):
        free = [end for end in (2 * line, 2 * line + 1) if end not in partner]
        if line in done or not free:
            continue
        parts, end = [], free[0]
        while True:
            here = end // 2
            done.add(here)
            vertices = shapely.get_coordinates(lines[here])
            parts.append(vertices if end % 2 == 0 else vertices[::-1])
            out = end ^ 1
            if out not in partner:
                break
            end = partner[out]
        found.append(LineString(np.concatenate(parts)))
    return found
