"""A network of courses: lines that share the vertices where they meet, freed of spurs and scraps."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString

from pipeline.lattice.grid import Grid, Mask
from pipeline.outlines.skeleton import skeleton_lines

SPUR_M = 25.0
"""Length of a loose end below which it is a fray of the line it leaves, or of noise, and no way that ends (our
choice)."""
LEAST_NETWORK_M = 60.0
"""Length of all lines that hang together below which they are scraps, and no way for anybody: 4 mm on the map (our
choice)."""
SMOOTH_CELLS = 3.0
"""Sigma, in cells along a line, of the mean that takes away the steps of the cells (our choice)."""

Place = tuple[float, float]


def network_lines(cells: Mask, grid: Grid, /) -> list[LineString]:
    """The courses as smooth lines, cut where they meet; lines that meet share that vertex.

    Parameters
    ----------
    cells : (rows, cols) bool, crests and bridges between them
    """
    thick = ndimage.binary_closing(np.pad(cells, 2), np.ones((3, 3), bool))[2:-2, 2:-2] | cells
    lines = [line for line in skeleton_lines(thick, grid, cut_at_corners=False) if line.length > 0]
    return [_smooth(line) for line in merged(without_spurs(lines))]


def ends(line: LineString, /) -> tuple[Place, Place]:
    """First and last vertex."""
    first, last = line.coords[0], line.coords[-1]
    return (first[0], first[1]), (last[0], last[1])


def degrees(lines: list[LineString], /) -> dict[Place, int]:
    """How many ends of lines lie on each vertex that is one."""
    n: dict[Place, int] = defaultdict(int)
    for line in lines:
        for end in ends(line):
            n[end] += 1
    return n


def without_spurs(lines: list[LineString], /) -> list[LineString]:
    """The lines without short ones that end loose at one end and leave another line at the other, the shortest first.

    After each round lines are joined where only two are left to meet, so that a spur of several pieces goes too.
    """
    while True:
        lines = merged(lines)
        n = degrees(lines)
        spurs = [
            line for line in lines if line.length < SPUR_M and sorted(min(n[end], 2) for end in ends(line)) == [1, 2]
        ]
        if not spurs:
            return lines
        # One at each fork, or both arms of a fork at the end of a way would go.
        gone: set[int] = set()
        taken: set[Place] = set()
        for line in sorted(spurs, key=lambda line: (line.length, line.bounds)):
            fork = next(end for end in ends(line) if n[end] > 1)
            if fork not in taken:
                taken.add(fork)
                gone.add(id(line))
        lines = [line for line in lines if id(line) not in gone]


def merged(lines: list[LineString], /) -> list[LineString]:
    """The lines joined where exactly two meet."""
    if not lines:
        return []
    return [part for part in shapely.get_parts(shapely.line_merge(shapely.multilinestrings(lines))) if part.length > 0]


def without_scraps(lines: list[LineString], /, *, least_m: float = LEAST_NETWORK_M) -> list[LineString]:
    """The lines of networks of some length."""
    group = groups(lines)
    total = np.bincount(group, [line.length for line in lines]) if lines else np.empty(0)
    return [line for line, number in zip(lines, group, strict=True) if total[number] >= least_m]


def groups(lines: list[LineString], /) -> NDArray[np.int64]:
    """(n,) a number for each set of lines that hang together by their ends."""
    root: dict[Place, Place] = {}

    def find(place: Place) -> Place:
        while root.setdefault(place, place) != place:
            place = root[place]
        return place

    for line in lines:
        first, last = ends(line)
        root[find(first)] = find(last)
    number: dict[Place, int] = {}
    return np.array([number.setdefault(find(ends(line)[0]), len(number)) for line in lines], np.int64)


def _smooth(line: LineString) -> LineString:
    """The line without the steps of the cells; its ends stay, as other lines may meet it there."""
    vertices = shapely.get_coordinates(line)
    if len(vertices) < 4:
        return line
    pad = min(len(vertices) - 1, 12)
    # Turned about the ends, so that the mean leaves them and the direction there as they are.
    before, after = 2 * vertices[0] - vertices[pad:0:-1], 2 * vertices[-1] - vertices[-2 : -pad - 2 : -1]
    wide = np.concatenate((before, vertices, after))
    smooth = ndimage.gaussian_filter1d(wide, SMOOTH_CELLS, axis=0, mode="nearest")[pad:-pad]
    smooth[0], smooth[-1] = vertices[0], vertices[-1]
    return LineString(smooth)
