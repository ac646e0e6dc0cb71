"""Smooth random fields and lookups on the lattice of a scene.

Arrays are (rows, cols) with row 0 at the SOUTH edge; `x` is metres east and `y` metres north of the south-west corner
of the surveyed square. The lattice reaches `margin_m` beyond it, so that slanting beams meet ground and trees outside.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage as ndi

Field = NDArray[np.float32]
Metres = NDArray[np.float64]


@dataclass(frozen=True)
class Lattice:
    """Square cells that cover the surveyed square and a margin around it."""

    size_m: float
    margin_m: float = 32.0
    cell_m: float = 0.5

    @property
    def n(self) -> int:
        """Rows and columns."""
        return round((self.size_m + 2 * self.margin_m) / self.cell_m)

    @property
    def x(self) -> Field:
        """(1, n) metres east of each column's centre."""
        return self._centres()[None, :]

    @property
    def y(self) -> Field:
        """(n, 1) metres north of each row's centre."""
        return self._centres()[:, None]

    def _centres(self) -> Field:
        return ((np.arange(self.n) + 0.5) * self.cell_m - self.margin_m).astype(np.float32)

    def index(self, x: Metres, y: Metres) -> NDArray[np.int64]:
        """Flat cell index of each place, clamped to the lattice."""
        col = np.clip(((x + self.margin_m) / self.cell_m).astype(np.int64), 0, self.n - 1)
        row = np.clip(((y + self.margin_m) / self.cell_m).astype(np.int64), 0, self.n - 1)
        return row * self.n + col

    def window(self, x: float, y: float, reach_m: float) -> tuple[slice, slice]:
        """Rows and columns within `reach_m` of a place (may be empty)."""
        low_col, high_col = (int((v + self.margin_m) / self.cell_m) for v in (x - reach_m, x + reach_m))
        low_row, high_row = (int((v + self.margin_m) / self.cell_m) for v in (y - reach_m, y + reach_m))
        return slice(max(low_row, 0), max(high_row + 2, 0)), slice(max(low_col, 0), max(high_col + 2, 0))

    @property
    def core(self) -> tuple[slice, slice]:
        """Rows and columns of the surveyed square."""
        edge = round(self.margin_m / self.cell_m)
        return slice(edge, self.n - edge), slice(edge, self.n - edge)


def smooth_noise(lattice: Lattice, rng: np.random.Generator, wavelength_m: float) -> Field:
    """(n, n) smooth random field, mean 0 and standard deviation about 1, with bumps about `wavelength_m` apart."""
    step_m = max(wavelength_m / 5, lattice.cell_m)
    rows = int(lattice.n * lattice.cell_m / step_m) + 9
    coarse = ndi.gaussian_filter(rng.standard_normal((rows, rows)), 1.2, mode="wrap")
    coarse = (coarse / coarse.std()).astype(np.float32)
    if step_m == lattice.cell_m:
        return coarse[: lattice.n, : lattice.n]
    return stretch(coarse, lattice.n, lattice.cell_m / step_m)


def stretch(coarse: Field, n: int, step: float) -> Field:
    """(n, n) cubic interpolation of a coarse field every `step` coarse cells, from its fourth cell on."""
    at = 4 + np.arange(n) * step
    filtered = ndi.spline_filter(coarse, order=3, output=np.float32)
    along = _interpolate_rows(filtered, at)
    return _interpolate_rows(along.T, at).T


def _interpolate_rows(field: Field, at: Metres) -> Field:
    """Cubic B-spline of every column at fractional rows `at`; `field` holds spline coefficients."""
    base = np.floor(at).astype(int)
    t = (at - base).astype(np.float32)
    weights = ((1 - t) ** 3, 3 * t**3 - 6 * t**2 + 4, -3 * t**3 + 3 * t**2 + 3 * t + 1, t**3)
    return sum((w / 6)[:, None] * field[base + k - 1] for k, w in enumerate(weights)).astype(np.float32)


def ramp(value: Field, low: float, high: float) -> Field:
    """Smooth step from 0 at `low` to 1 at `high`."""
    t = np.clip((value - low) / (high - low), 0, 1)
    return (t * t * (3 - 2 * t)).astype(np.float32)


def slope_of(ground: Field, cell_m: float) -> Field:
    """(n, n) slope in degrees."""
    down, across = np.gradient(ground, cell_m)
    return np.degrees(np.arctan(np.hypot(down, across))).astype(np.float32)


def bilinear(field: Field, lattice: Lattice, x: Metres, y: Metres) -> Metres:
    """Value of a field of cell-centre values at each place."""
    scale = len(field) / lattice.n / lattice.cell_m
    col = np.clip((x + lattice.margin_m) * scale - 0.5, 0, len(field) - 1.001)
    row = np.clip((y + lattice.margin_m) * scale - 0.5, 0, len(field) - 1.001)
    c, r = col.astype(np.int64), row.astype(np.int64)
    u, v = col - c, row - r
    flat, at = field.ravel(), r * len(field) + c
    low = flat[at] * (1 - u) + flat[at + 1] * u
    high = flat[at + len(field)] * (1 - u) + flat[at + len(field) + 1] * u
    return low * (1 - v) + high * v


def distance_to_line(lattice: Lattice, line: Metres, reach_m: float) -> tuple[Field, Field]:
    """Distance of each cell to a polyline and how far along it the nearest place lies.

    Returns
    -------
    distance_m, along_m : (n, n) float32
        `distance_m` is signed: positive to the left of the line; infinite beyond `reach_m`.
    """
    distance = np.full((lattice.n, lattice.n), np.inf, np.float32)
    along = np.zeros((lattice.n, lattice.n), np.float32)
    start_m = 0.0
    for (x0, y0), (x1, y1) in itertools.pairwise(line):
        length = float(np.hypot(x1 - x0, y1 - y0))
        rows, cols = lattice.window((x0 + x1) / 2, (y0 + y1) / 2, reach_m + length / 2)
        px, py = lattice.x[:, cols] - x0, lattice.y[rows] - y0
        ux, uy = (x1 - x0) / length, (y1 - y0) / length
        t = np.clip(px * ux + py * uy, 0, length)
        d = np.hypot(px - t * ux, py - t * uy)
        closer = d < np.abs(distance[rows, cols])
        side = np.where(ux * py - uy * px >= 0, 1, -1)
        distance[rows, cols] = np.where(closer & (d <= reach_m), side * d, distance[rows, cols])
        along[rows, cols] = np.where(closer, start_m + t, along[rows, cols])
        start_m += length
    return distance, along


def resampled(line: Metres, step_m: float) -> Metres:
    """The polyline with a vertex about every `step_m`."""
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.linspace(0, s[-1], max(2, int(s[-1] / step_m) + 1))
    return np.column_stack([np.interp(at, s, line[:, 0]), np.interp(at, s, line[:, 1])])
