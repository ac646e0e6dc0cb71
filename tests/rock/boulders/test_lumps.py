"""Lumps: what is looked for in the heights of the lowest last returns."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.filters import rank

from pipeline.rock.boulders.lumps import TWIG_CELLS, _middle_around


@pytest.mark.parametrize("shape", [(3, 9), (4, 4), (5, 5), (5, 6), (40, 7), (12, 600)])
def test_middle_heights_are_those_of_scikit_image_up_to_the_rim(shape: tuple[int, int]) -> None:
    """A window that the rim cuts off has the middle height of what is left of it, as scikit-image takes it."""
    heights = np.random.default_rng(6).integers(0, 500, shape).astype(np.uint16)
    heights[::2] = 0
    around = np.ones((TWIG_CELLS, TWIG_CELLS), np.uint8)
    np.testing.assert_array_equal(_middle_around(heights), rank.median(heights, around))  # type: ignore[no-untyped-call]
