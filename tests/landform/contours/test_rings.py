"""Closed contours below the standard's least size are enlarged a little or left out."""

import numpy as np

from pipeline.landform.contours.isolines import trace_contours
from pipeline.landform.contours.rings import large_enough, settle_rings
from tests import landscape


def settled(top_m: float, rise: float) -> list[float]:
    """Sizes of the contours of a cone after settling."""
    grid = landscape.grid_of(side_m=100)
    ground = landscape.cone(grid, top_m=top_m, rise=rise)
    lines, at_m = trace_contours(ground, grid, np.array([100.0]))
    kept, kept_at_m = settle_rings(lines, at_m, ground, grid, interval_m=5, spacing_m=1.5)
    assert (kept_at_m == 100).all()
    return [float(np.ptp(line[:, 0])) for line in kept]


def test_a_large_ring_is_kept_as_it_is() -> None:
    """A contour 20 m across is above the standard's 13.5 by 9 m."""
    sizes = settled(103, 0.3)
    assert len(sizes) == 1
    np.testing.assert_allclose(sizes[0], 20, atol=0.6)


def test_a_ring_slightly_too_small_is_enlarged() -> None:
    """A contour 9 m across grows to the least size, traced lower by less than the allowance."""
    sizes = settled(101.35, 0.3)
    assert len(sizes) == 1
    assert 11.3 <= sizes[0] <= 9 + 2 * 0.75 / 0.3 + 0.2


def test_a_ring_much_too_small_is_left_out() -> None:
    """A contour 2 m across on a steep cone cannot grow enough."""
    assert settled(100.5, 0.5) == []


def test_hollows_need_more_room_than_hills() -> None:
    """ISOM 101: 13.5 by 9 m for a hill, 16.5 by 10.5 m for a hollow, over all."""
    around = np.linspace(0, 2 * np.pi, 65)
    ring = 6.5 * np.column_stack([np.cos(around), np.sin(around)])
    ring[-1] = ring[0]
    assert large_enough(ring)
    assert not large_enough(ring[::-1])
