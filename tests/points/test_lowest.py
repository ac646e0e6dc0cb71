"""The lowest return of each cell."""

from dataclasses import replace

import numpy as np

from pipeline.points.ground.lowest import lowest_returns
from pipeline.points.ground.near_surface import hand_on_surface, lies_near


def test_lowest_returns_put_in_place_of_others_are_triangulated_themselves() -> None:
    """What was triangulated of the old ones is not taken for the new ones, wherever in their cells they lie."""
    random = np.random.default_rng(3)
    enh = np.column_stack((random.uniform(0, 40, (4000, 2)), random.uniform(0, 0.1, 4000)))
    before = lowest_returns(enh, cell_m=1.0)
    lies_near(before, before.is_known)
    after = replace(before, height=before.height + 5.0)
    assert lies_near(after, after.is_known).sum() == after.is_known.sum()


def test_triangulation_goes_on_where_some_lowest_returns_are_replaced() -> None:
    """It is handed on without their cells, and then follows the new returns: as if all were triangulated anew."""
    random = np.random.default_rng(4)
    enh = np.column_stack((random.uniform(0, 40, (4000, 2)), random.uniform(0, 0.1, 4000)))
    before = lowest_returns(enh, cell_m=1.0)
    lies_near(before, before.is_known)
    changed = before.is_known & (random.random(before.height.shape) < 0.02)
    raised = before.height + 5.0 * changed
    after, anew = replace(before, height=raised), replace(before, height=raised)
    hand_on_surface(before, before.is_known & ~changed, after)
    assert len(after.triangulated) == 1
    assert not before.triangulated
    for bare in (after.is_known & ~changed, after.is_known):
        expected = lies_near(anew, bare)
        np.testing.assert_array_equal(lies_near(after, bare), expected)
    assert not lies_near(after, after.is_known & ~changed)[changed].any()
