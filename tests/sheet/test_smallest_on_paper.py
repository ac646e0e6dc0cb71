"""Small buildings on paper: as large as their symbol may be, at every scale, about the same middle."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely.geometry import box

from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.smallest import at_least_smallest
from tests.paths import symbols


def areas(number: str, enlarge: float) -> Marks:
    """A hut of 0.3 by 0.4 mm and a house of 2 by 3 mm at 1:15 000."""
    shapes = np.array([box(10, 10, 10.3, 10.4), box(20, 20, 22, 23)], np.object_)
    shapes = shapely.transform(shapes, lambda places: places * enlarge)
    nothing = np.full(2, np.nan)
    return Marks(symbols()[number], "area", shapes, nothing, nothing, enlarge)


@pytest.mark.parametrize("enlarge", [1.0, 1.5, 3.0])
def test_a_hut_is_drawn_as_large_as_a_building_may_be(enlarge: float) -> None:
    """0.5 by 0.5 mm at 1:15 000 (ISOM 2017-2, 521, from memory); the house stays."""
    before = areas("521", enlarge)
    (after,) = at_least_smallest([before])
    np.testing.assert_allclose(shapely.area(after.geometry), np.array([0.25, 6.0]) * enlarge**2)
    assert shapely.distance(*(shapely.centroid(mark.geometry[0]) for mark in (before, after))) < 1e-9
    assert after.geometry[1].equals(before.geometry[1])


def test_other_areas_are_left_as_they_are() -> None:
    """Of other symbols what is too small has been left out of the draft."""
    before = areas("214", 1.0)
    assert at_least_smallest([before])[0] is before
