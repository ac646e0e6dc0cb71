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
    after = replace(before, height=before.height + 5.0)
    assert lies_near(after, after.is_known).sum() == after.is_known.sum()
