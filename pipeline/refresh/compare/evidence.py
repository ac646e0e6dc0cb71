"""The figures of both surveys on one spot, as columns and in words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from rasterio.features import rasterize
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.grid import Heights, Mask
from pipeline.refresh.compare.survey import Measured

LEAST_HALF_M = 1.0
"""Points and lines are looked at within so many metres. Our choice."""
INDEPENDENT_M2 = 25.0
"""Errors of a mean shrink with the number of squares of this size: neighbouring cells share theirs. Our choice."""


@dataclass(frozen=True)
class Figures:
    """What was measured on one spot; NaN where it was not.

    Attributes
    ----------
    height_change_m, height_change_error_m : new less old bare earth, its mean, and standard error
    density_change, density_change_error : new less old plant-area density of the running layer, m2/m3
    canopy_old_m, canopy_new_m : mean height of the canopy
    density_old, density_new : m2/m3; the old one as the season of the new survey would show it
    changed_ratio : the share of the spot where the ground changed
    seen_ratio : the share of it where both surveys see the ground
    support_m : median distance to the nearest ground return, of the survey that sees less
    """

    height_change_m: float = math.nan
    height_change_error_m: float = math.nan
    density_change: float = math.nan
    density_change_error: float = math.nan
    canopy_old_m: float = math.nan
    canopy_new_m: float = math.nan
    density_old: float = math.nan
    density_new: float = math.nan
    changed_ratio: float = 0.0
    seen_ratio: float = 0.0
    support_m: float = math.nan

    NAMES: ClassVar[tuple[str, ...]] = (
        "height_change_m",
        "height_change_error_m",
        "density_change",
        "density_change_error",
    )

    @property
    def columns(self) -> dict[str, float]:
        """The figures that have a column of their own, rounded to what they can bear."""
        return {name: round(float(getattr(self, name)), 3) for name in self.NAMES}


def figures_of(shape: BaseGeometry, measured: Measured, /) -> Figures:
    """The figures of a spot, whatever its kind: areas within their outline, lines and points with a metre around."""
    spot = shape if shape.area > 4 * LEAST_HALF_M**2 else shape.buffer(LEAST_HALF_M)
    window, cells = _cells_of(spot, measured)
    if not cells.any():
        return Figures()
    ground = measured.ground
    n = max(1.0, float(cells.sum()) * measured.grid.cell_m**2 / INDEPENDENT_M2)
    seen = ground.seen[window][cells]
    height, height_error = _mean(ground.difference[window], ground.error[window], cells & ground.seen[window], n)
    found = {
        "height_change_m": height,
        "height_change_error_m": height_error,
        "changed_ratio": float(ground.changed[window][cells].mean()),
        "seen_ratio": float(seen.mean()),
        "support_m": float(np.median(measured.support[window][cells])),
    }
    if measured.canopy is not None:
        found["canopy_old_m"] = _middle(measured.canopy.old[window], cells)
        found["canopy_new_m"] = _middle(measured.canopy.new[window], cells)
    if measured.density is not None:
        found |= _density_figures(measured, window, cells, n)
    return Figures(**found)


def greatest_change(shape: BaseGeometry, measured: Measured, /) -> tuple[float, float]:
    """The greatest change of the height of the ground on a spot, and the median standard error there, metres."""
    window, cells = _cells_of(shape, measured)
    values = np.abs(measured.ground.difference[window][cells])
    if not np.isfinite(values).any():
        return math.nan, math.nan
    return float(np.nanmax(values)), float(np.nanmedian(measured.ground.error[window][cells]))


def _density_figures(measured: Measured, window: tuple[slice, slice], cells: Mask, n: float) -> dict[str, float]:
    density = measured.density
    assert density is not None
    old, new = density.old[window], density.new[window]
    change, error = _mean(new - old, density.error[window], cells, n)
    return {
        "density_old": _middle(old, cells),
        "density_new": _middle(new, cells),
        "density_change": change,
        "density_change_error": error,
    }


def _cells_of(shape: BaseGeometry, measured: Measured) -> tuple[tuple[slice, slice], Mask]:
    """The window of the grid around a shape, and the cells in it that the shape covers."""
    window = measured.grid.window_around(shape.bounds, margin_cells=1)
    part = measured.grid.part(window)
    if not part.rows or not part.cols:
        return window, np.zeros(part.shape, np.bool_)
    inside = rasterize([shape], out_shape=part.shape, transform=part.transform, all_touched=True)
    return window, inside.astype(np.bool_)


def _mean(values: Heights, error: Heights, cells: Mask, n: float) -> tuple[float, float]:
    """Mean over cells, and its standard error with `n` independent ones among them."""
    known = cells & np.isfinite(values)
    if not known.any():
        return math.nan, math.nan
    return float(values[known].mean()), float(np.sqrt(np.nanmean(error[known] ** 2) / n))


def _middle(values: Heights, cells: Mask) -> float:
    known = values[cells & np.isfinite(values)]
    return float(known.mean()) if known.size else math.nan


def in_words(figures: Figures, /) -> str:
    """The figures as a mapper reads them."""
    parts = []
    if math.isfinite(figures.height_change_m):
        change_m = round(figures.height_change_m, 2) + 0.0
        parts.append(f"ground {change_m:+.2f} m (± {_rounded_up(figures.height_change_error_m):.2f})")
    else:
        parts.append("ground not compared")
    if math.isfinite(figures.canopy_old_m) and max(figures.canopy_old_m, figures.canopy_new_m) > 0.5:
        parts.append(f"canopy {figures.canopy_old_m:.1f} to {figures.canopy_new_m:.1f} m")
    if math.isfinite(figures.density_change):
        parts.append(
            f"undergrowth {figures.density_old:.2f} to {figures.density_new:.2f} m2/m3 "
            f"(± {_rounded_up(figures.density_change_error):.2f})"
        )
    return ", ".join(parts)


def _rounded_up(error: float) -> float:
    """An error in whole hundredths, never less than it is: "± 0.00" would be read as certain."""
    return math.ceil(error * 100) / 100 if math.isfinite(error) else error


def sureness(times: float, /, *, usual: float) -> float:
    """How sure a change is, 0.5 to 0.99, from how many times its noise it is; 0.75 at `usual`. Our choice."""
    return float(np.clip(1 - 0.5 * 0.5 ** (max(times, 0.0) / usual), 0.5, 0.99))
