"""Planes through neighbours: many weighted least squares fits at a time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Stack = NDArray[np.float64]
"""Numbers of the neighbours of many places: some axes run over the neighbours, the others over the places."""


class PlaneFit(NamedTuple):
    """z = level + slope_x x + slope_y y, one plane a place, each array of the shape of the axes over the places."""

    level: Stack
    slope_x: Stack
    slope_y: Stack


def weighted_plane(
    x: Stack,
    y: Stack,
    z: Stack,
    weight: Stack,
    /,
    *,
    over: tuple[int, ...],
    ease: float = 0.0,
    ease_share: float = 0.0,
) -> PlaneFit:
    """The plane through the neighbours of each place, by weighted least squares.

    Neighbours that lie in a row would let the plane tip freely across the row. A little is therefore added to their
    variance in x and in y, which draws the plane towards the level (ridge regression: Hoerl and Kennard 1970,
    doi:10.1080/00401706.1970.10488634).

    Parameters
    ----------
    x, y, z, weight : arrays of one shape
        A weight of 0 takes a neighbour out; where all are 0 the plane is level at 0.
    over : tuple of int
        The axes that run over the neighbours; the others run over the places.
    ease : float
        Added to both variances, in the square of the unit of x and y.
    ease_share : float
        Added as well: this share of the mean squared distance of the neighbours from (0, 0).
    """
    axes = "abcdef"[: weight.ndim]
    sums = f"{axes},{axes}->{''.join(name for axis, name in enumerate(axes) if axis not in over)}"
    total = np.maximum(weight.sum(axis=over), 1e-9)

    def mean(values: Stack) -> Stack:
        return np.asarray(np.einsum(sums, weight, values) / total)

    mid_x, mid_y, mid_z = mean(x), mean(y), mean(z)
    xx, yy, xy = mean(x * x) - mid_x**2, mean(y * y) - mid_y**2, mean(x * y) - mid_x * mid_y
    if ease_share:
        spread = ease_share * mean(x * x + y * y)
        xx, yy = xx + spread, yy + spread
    xx, yy = xx + ease, yy + ease
    xz, yz = mean(x * z) - mid_x * mid_z, mean(y * z) - mid_y * mid_z
    determinant = xx * yy - xy**2
    slope_x, slope_y = (xz * yy - yz * xy) / determinant, (yz * xx - xz * xy) / determinant
    return PlaneFit(mid_z - slope_x * mid_x - slope_y * mid_y, slope_x, slope_y)
