"""The lowest return of each cell."""

from dataclasses import replace

import numpy as np

from pipeline.points.ground.lowest import lowest_returns
from pipeline.points.ground.near_surface import lies_near


def test_lowest_returns_put_in_place_of_others_are_triangulated_themselves() -> None:
    """What was triangulated of the old ones is not taken for the new ones, wherever in their cells they lie."""
    random = np.random.default_rng(3)
    enh = np.column_stack((random.uniform(0, 40, (4000, 2)), random.uniform(0, 0.1, 4000)))
    before = lowest_returns(enh, cell_m=1.0)
    lies_near(before, before.is_known)
    deep = before.height - np.where(random.uniform(size=before.height.shape) < 0.02, 2.0, 0.0)
    after = replace(before, height=deep, east=before.east + 0.01)
    is_bare = after.is_known & (after.height > -1)
    fresh = lowest_returns(enh, cell_m=1.0)
    fresh = replace(fresh, height=deep, east=fresh.east + 0.01)
    np.testing.assert_array_equal(lies_near(after, is_bare), lies_near(fresh, is_bare))
