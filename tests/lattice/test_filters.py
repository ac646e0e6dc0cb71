"""Compiled filters: the same bits as SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from pipeline.lattice.filters.bell import STRETCH, gaussian
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.filters.rims import Rim

RIMS: tuple[Rim, ...] = ("constant", "nearest", "reflect")
SHAPES = ((1, 1), (2, 3), (17, 40), (9, STRETCH + 5))


def heights(shape: tuple[int, int], dtype: type[np.floating]) -> np.ndarray:
    """Restless ground, some 300 m above the sea."""
    return (300 + 20 * np.random.default_rng(sum(shape)).normal(size=shape)).astype(dtype)


@pytest.mark.parametrize("rim", RIMS)
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("shape", SHAPES)
def test_the_bell_gives_every_bit_of_scipy_s(shape: tuple[int, int], dtype: type[np.floating], rim: Rim) -> None:
    """Narrow and wide bells, also those wider than the grid, cut off early or late."""
    ground = heights(shape, dtype)
    for sigma, truncate in ((0.3, 4.0), (1.5, 3.0), (6.0, 4.0), (25.0, 4.0)):
        expected = ndimage.gaussian_filter(ground, sigma, mode=rim, truncate=truncate)
        np.testing.assert_array_equal(gaussian(ground, sigma, rim=rim, truncate=truncate), expected)


@pytest.mark.parametrize("rim", RIMS)
@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("shape", SHAPES)
def test_the_square_gives_every_bit_of_scipy_s(shape: tuple[int, int], dtype: type[np.floating], rim: Rim) -> None:
    """Odd and even squares, also those larger than the grid, and another value beyond the rim."""
    ground = heights(shape, dtype)
    for side, beyond in ((1, 0.0), (2, 0.0), (5, 1.0), (12, -3.0), (61, 1.0)):
        expected = ndimage.uniform_filter(ground, side, mode=rim, cval=beyond)
        np.testing.assert_array_equal(square_mean(ground, side, rim=rim, beyond=beyond), expected)


def test_what_is_filtered_stays_as_it_was() -> None:
    """Where nothing is to be summed the answer is a copy, and a view of a larger grid is filtered as it is."""
    ground = heights((40, 40), np.float32)
    view = ground[::2, 1::3]
    for found in (gaussian(view, 0.0), square_mean(view, 1)):
        np.testing.assert_array_equal(found, view)
        assert not np.shares_memory(found, ground)
    np.testing.assert_array_equal(gaussian(view, 2.0), ndimage.gaussian_filter(view, 2.0))
    np.testing.assert_array_equal(square_mean(view, 3), ndimage.uniform_filter(view, 3))
