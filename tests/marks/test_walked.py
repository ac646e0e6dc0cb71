"""What somebody who walks past sees."""

from __future__ import annotations

import numpy as np
from shapely.geometry import LineString, Point

from pipeline.lattice.grid import Grid
from pipeline.marks.walked import PAST_M, passed

GRID = Grid.covering((0.0, 0.0, 200.0, 100.0), cell_m=1.0, crs="EPSG:25832")
FLAT, BARE = np.zeros(GRID.shape, np.float32), np.zeros(GRID.shape, np.float32)
TRACK = [LineString([(0, 50), (200, 50)])]


def seen(north: float, ground: np.ndarray = FLAT, growth: np.ndarray = BARE) -> bool:
    """Whether a thing so far north is seen from a track that runs east at 50 m."""
    return bool(passed([Point(100, north)], TRACK, ground, growth, GRID)[0])


def test_near_and_in_the_open_it_is_seen() -> None:
    """Up to the stated distance, and no farther; nothing without a track."""
    assert seen(50 + PAST_M - 1)
    assert not seen(50 + PAST_M + 1)
    assert not passed([Point(100, 51)], [], FLAT, BARE, GRID).any()


def test_a_rise_between_hides_it() -> None:
    """A bank of 3 m; one of half a metre is looked over."""
    bank = FLAT.copy()
    bank[38:42] = 3.0
    assert not seen(67, ground=bank)
    assert seen(67, ground=bank / 6)


def test_a_thicket_between_hides_it() -> None:
    """Fight at 15 m is a wall, open forest is not; who stands in the thicket beside it sees it."""
    assert not seen(65, growth=BARE + 1.2)
    assert seen(65, growth=BARE + 0.05)
    assert seen(53, growth=BARE + 1.2)


def test_ground_that_was_not_seen_shows_nothing() -> None:
    """No height, no line of sight."""
    assert not seen(65, growth=BARE + np.nan)
