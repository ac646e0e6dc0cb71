"""Sums with any weights around each cell."""

import numpy as np
import pytest
from scipy import signal

from pipeline.lattice.filters.weights import LEAST_PART, weighted_sums


@pytest.mark.parametrize("shape", [(9, 30), (LEAST_PART + 30, 2 * LEAST_PART + 1)])
@pytest.mark.parametrize("k", [5, 9])
def test_sums_are_those_of_scipy(shape: tuple[int, int], k: int) -> None:
    """Judge outside the project: SciPy's correlation without any transform, for grids of one part and of several."""
    random = np.random.default_rng(k)
    values, weights = random.normal(size=shape), random.normal(size=(k, k))
    expected = signal.correlate(values, weights, mode="valid", method="direct")
    np.testing.assert_allclose(weighted_sums(values, weights), expected, rtol=0, atol=1e-12)
