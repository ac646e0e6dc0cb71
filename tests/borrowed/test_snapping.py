"""Lines of other maps moved to where lidar shows the same."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString

from pipeline.borrowed.snapping import FADE_M, snap_lines

ALONG_M = np.arange(0.0, 301.0, 10.0)
CURVE = np.column_stack((ALONG_M, 8 * np.sin(ALONG_M / 40)))
"""A winding path of 300 m."""


def array_of(*lines: LineString) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    """(n,) lines."""
    made = np.empty(len(lines), dtype=object)
    made[:] = lines
    return made


def test_shifted_path_comes_home() -> None:
    """A path mapped 4.5 m off lies within half a metre of the found one, but for its very ends."""
    found = LineString(CURVE)
    snapped = snap_lines(array_of(LineString(CURVE + np.array([2.0, 4.0]))), array_of(found))
    places = shapely.get_coordinates(shapely.segmentize(snapped.lines[0], 5.0))[3:-3]
    assert shapely.distance(shapely.points(places), found).max() < 0.5
    assert snapped.shown_ratio[0] > 0.9
    assert 3.0 < snapped.moved_m[0] < 4.6


def test_part_that_is_not_shown_follows_and_fades() -> None:
    """Half is shown: beyond it the shift dies away, and the far end stays where the other map has it."""
    snapped = snap_lines(array_of(LineString([(0, 4), (150, 4), (300, 4)])), array_of(LineString([(-10, 0), (150, 0)])))
    line = snapped.lines[0]
    assert abs(line.interpolate(60).y) < 0.3
    assert line.interpolate(150 + FADE_M + 30).y > 3.7
    assert 0.4 < snapped.shown_ratio[0] < 0.6


def test_crossing_and_far_lines_move_nothing() -> None:
    """A path that crosses is another one, and so is one 12 m beside."""
    line = LineString([(0, 0), (100, 0)])
    others = array_of(LineString([(50, -50), (50, 50)]), LineString([(0, 12), (100, 12)]))
    snapped = snap_lines(array_of(line), others)
    assert snapped.lines[0].equals(line)
    assert snapped.shown_ratio[0] == 0


def test_ring_stays_closed() -> None:
    """A road around a wood keeps its ends together."""
    ring = LineString([(0, 0), (100, 0), (100, 100), (0, 100), (0, 0)])
    found = LineString([(-20, 3), (120, 3)])
    assert snap_lines(array_of(ring), array_of(found)).lines[0].is_closed
