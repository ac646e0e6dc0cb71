"""Means of the known cells in a window around each cell.

Both the values, with 0 where nothing is known, and the known cells are taken through the same window; the quotient is
the mean of what is known, however little of the window that is (normalised convolution: Knutsson and Westin 1993,
doi:10.1109/CVPR.1993.341081).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.filters.bell import gaussian
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.filters.rims import Rim
from pipeline.lattice.grid import Mask, Real

Window = Callable[[NDArray[np.floating]], NDArray[np.floating]]
"""Takes (rows, cols) values to the weighted sum around each cell; the weights add up to 1."""


def gaussian_window(sigma_cells: float, /, *, rim: Rim, truncate: float = 4.0) -> Window:
    """A bell of this standard deviation, cut off at `truncate` times that."""
    return lambda values: gaussian(values, sigma_cells, rim=rim, truncate=truncate)


def square_window(side_cells: int, /, *, rim: Rim) -> Window:
    """A square of so many cells a side, all of the same weight."""
    return lambda values: square_mean(values, side_cells, rim=rim)


@dataclass(frozen=True)
class Known:
    """The known cells of a grid, and the window through which means of them are taken.

    Attributes
    ----------
    cells : (rows, cols) bool
    window : Window
    share : (rows, cols) 0..1
        Weight of the known cells in the window around each cell.
    """

    cells: Mask
    window: Window
    share: NDArray[np.floating]

    @classmethod
    def of(cls, cells: Mask, window: Window, /, *, dtype: type[np.floating] = np.float64) -> Known:
        """Known cells, with their share computed in `dtype`."""
        return cls(cells, window, window(cells.astype(dtype)))

    def mean(self, values: NDArray[Real], /, *, least_share: float = 1e-6) -> NDArray[np.floating]:
        """(rows, cols) mean of the known values around each cell; it fades to 0 where their share is below the least.

        Sums are taken in the precision of the values.
        """
        total = self.window(np.where(self.cells, values, values.dtype.type(0)))
        mean: NDArray[np.floating] = total / np.maximum(self.share, least_share)
        return mean
