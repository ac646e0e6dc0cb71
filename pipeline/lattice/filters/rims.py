"""What a filter takes, and what it finds beyond the rim of a grid."""

from __future__ import annotations

from typing import Literal, TypeVar

import numpy as np
from numpy.typing import NDArray

Real = TypeVar("Real", np.float32, np.float64)
"""Precision of a grid of numbers: what a filter takes it gives back."""
Rim = Literal["constant", "nearest", "reflect"]
"""What a window finds beyond the rim of the grid, in SciPy's words: nothing, the cell of the rim, the grid mirrored."""
NOTHING = -1
"""Stands for a line of cells beyond the rim where nothing is found there."""


def source_lines(n: int, reach: int, rim: Rim, /) -> NDArray[np.int64]:
    """(n + 2 reach,) number of the row (or column) found at each, from `reach` before the first to after the last."""
    at = np.arange(-reach, n + reach)
    if rim == "nearest":
        return np.clip(at, 0, n - 1)
    if rim == "reflect":
        return np.minimum(at % (2 * n), 2 * n - 1 - at % (2 * n))
    return np.where((at >= 0) & (at < n), at, NOTHING)
