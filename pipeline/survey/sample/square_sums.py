"""Sums over the ground returns of each square of a tile, from which the ground of a survey is told square by square."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Mask
from pipeline.returns.cloud import Cloud

Numbers = NDArray[np.float64]

SQUARE_M = 15.0
"""Side of a square, in metres: wider than a knoll or the foot of a cliff, narrower than the stands and slopes that
decide how well they are seen. Our choice."""
FACTORS = ((), (0,), (1,), (2,), (0, 0), (0, 1), (1, 1), (0, 2), (1, 2), (2, 2))
"""What each sum adds up over the ground returns of a square: products of metres east (0) and north (1) of its middle
and of the elevation (2); the first counts them."""


@dataclass(frozen=True)
class SquareSums:
    """Squares that usable returns fell on, in the order of columns and then of rows.

    Attributes
    ----------
    place : (n, 2) int64, column and row: east and north over SQUARE_M, rounded down
    sums : (n, len(FACTORS)) over the ground returns in each, as FACTORS says
    """

    place: NDArray[np.int64]
    sums: Numbers

    @classmethod
    def of(cls, cloud: Cloud, is_ground: Mask, /) -> SquareSums:
        """Those of a cloud; `is_ground` says which of its returns count as ground."""
        place, square = squares_among(np.floor(cloud.en / SQUARE_M).astype(np.int64))
        of_ground = square[is_ground]
        middle = (place[of_ground] + 0.5) * SQUARE_M
        east, north = cloud.east[is_ground] - middle[:, 0], cloud.north[is_ground] - middle[:, 1]
        values = (east, north, cloud.height[is_ground])
        products = [_product(values, factors) for factors in FACTORS]
        return cls(place, np.array([np.bincount(of_ground, product, len(place)) for product in products]).T)

    @classmethod
    def joined(cls, parts: Sequence[SquareSums], /) -> SquareSums:
        """Those of several tiles; what tiles share of a square is added up in the order of the tiles."""
        place, of = squares_among(np.concatenate([part.place for part in parts]))
        columns = np.concatenate([part.sums for part in parts]).T
        return cls(place, np.array([np.bincount(of, column, len(place)) for column in columns]).T)


def _product(values: Sequence[Numbers], factors: tuple[int, ...]) -> Numbers:
    """(n,) the product of some of the values; 1 of none."""
    product = np.ones(len(values[0]))
    for factor in factors:
        product = product * values[factor]
    return product


def squares_among(places: NDArray[np.int64], /) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """(m, 2) every square among (n, 2) columns and rows once, by column and then row; (n,) which of them each is.

    NumPy's own `unique` for rows sorts all returns by their squares, which takes ten times as long.
    """
    if len(places) == 0:
        return places, np.empty(0, np.int64)
    least = places.min(axis=0)
    n_rows = int(places[:, 1].max() - least[1]) + 1
    key = (places[:, 0] - least[0]) * n_rows + (places[:, 1] - least[1])
    kept = np.unique(key)
    return np.stack(np.divmod(kept, n_rows), axis=1) + least, np.searchsorted(kept, key)
