"""How far beyond a block its work looks, told from the constants of the methods; the halo of a block must be wider."""

from __future__ import annotations

from pipeline.returns.triangulation import MOST_RADIUS_M
from pipeline.rock.boulders.boulders import REACH_M

LOOK_AROUND_M = REACH_M
"""How far beyond a block its rasters and boulders look, in metres: boulders look farthest. Pulses come next: one that
reaches the ground at the rim of a block under a scan angle of 27 degrees has passed a tree of 40 m 20 m farther out."""
EARTH_AROUND_M = 2 * MOST_RADIUS_M
"""How far beyond a block ground returns are taken into its triangles, in metres."""


def classes_reach_m(ground_window_m: float, /) -> float:
    """How far a return may lie and still change a class, in metres.

    The widest window of the ground filter decides: its opening looks two radii far. What follows the windows (slope of
    the terrain, gentle ways, planes through neighbours) passes changes on from cell to cell and has no such bound; that
    nothing of it gets through the halo is measured by `tests/steps/test_seams.py`.
    """
    return 2 * ground_window_m


def halo_needed_m(ground_window_m: float, /) -> float:
    """Metres of its neighbours' returns that a block must read for its classes to be theirs as far as it looks."""
    return max(classes_reach_m(ground_window_m) + LOOK_AROUND_M, EARTH_AROUND_M)
