"""Two surveys of one place, laid onto one grid, and all that was measured of what differs between them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.refresh.compare.canopy import CanopyChange, canopy_change
from pipeline.refresh.compare.density import DensityChange, density_change
from pipeline.refresh.compare.ground import GroundChange, ground_change
from pipeline.refresh.compare.regions import local_mean
from pipeline.refresh.compare.returns_seen import Seen, returns_seen
from pipeline.refresh.register.shift import Shift, Surface, moved_onto
from pipeline.returns.cloud import Cloud

REFERENCE_SIGMA_M = 1.5
"""How smooth the surface is from which heights of returns are counted, in metres. Our choice."""
SHARED_ERROR_RATIO = 0.31
"""What stated errors of density hold of errors that both surveys share, as a share of the density
(`pipeline.vegetation.running.density.MODEL_SPREAD_RATIO`)."""
Clouds = Callable[[], Iterable[Cloud]]
"""Gives the classified returns of a survey, tile by tile."""


@dataclass(frozen=True)
class Survey:
    """One survey and the map drawn from it.

    Attributes
    ----------
    surface : bare earth, its support, canopy; None where only a map is at hand
    density, density_error : (rows, cols) m2/m3 of the running layer on the grid of the surface, or None
    features : the features of the map with the columns of the draft and `layer`
    season : "leaf-on", "leaf-off", "in between" or "unknown"
    clouds : gives the returns, or None where they are no longer at hand
    """

    surface: Surface | None
    features: gpd.GeoDataFrame
    density: Heights | None = None
    density_error: Heights | None = None
    season: str = "unknown"
    clouds: Clouds | None = None


@dataclass(frozen=True)
class Measured:
    """What differs between two surveys on the grid of the new one.

    Attributes
    ----------
    grid : Grid
    ground : GroundChange
    canopy : CanopyChange or None
    density : DensityChange or None
    old_returns, new_returns : what last returns show, or None where the points of one survey are no longer at hand
    support : (rows, cols) metres to the nearest ground return, the larger of the two surveys
    old_support, new_support : of each of them, or None where nobody knows
    told_from : "points", "rasters" or "map": what of the old survey was at hand
    """

    grid: Grid
    ground: GroundChange
    canopy: CanopyChange | None
    density: DensityChange | None
    old_returns: Seen | None
    new_returns: Seen | None
    support: Heights
    told_from: str
    old_support: Heights | None = None
    new_support: Heights | None = None


def measure(old: Survey, new: Survey, shift: Shift, /, *, covered: Mask, objects: Mask) -> Measured | None:
    """All rasters of difference; None where one side has no rasters.

    Parameters
    ----------
    shift : from the old survey to the new one
    covered : (rows, cols) bool on the grid of the new survey
        Standing water and houses of either map, under which there is no ground to compare.
    objects : (rows, cols) bool
        Boulders, cliffs and walls of either map.
    """
    if old.surface is None or new.surface is None:
        return None
    a, b = old.surface, new.surface
    earth = moved_onto(a.bare_earth, a.grid, b.grid, shift, up_m=shift.up_m)
    supports = [_laid(a.support, a, b, shift), b.support]
    returns = _returns_of_both(old, new, earth, shift)
    cell_m = b.grid.cell_m
    ground = ground_change(
        earth,
        b.bare_earth,
        *supports,
        cell_m=cell_m,
        returns=returns,
        objects=objects,
        water=covered,
        thickets=(_laid(old.density, a, b, shift), new.density),
    )
    both = np.isfinite(earth) & np.isfinite(b.bare_earth)
    canopy = _canopy(a, b, shift, both)
    elsewhere = ground.changed | (canopy.felled | canopy.grown if canopy else np.zeros_like(both))
    known = [np.zeros_like(earth) if values is None else np.nan_to_num(values) for values in supports]
    return Measured(
        b.grid,
        ground,
        canopy,
        _density(old, new, shift, elsewhere, ground.difference),
        returns[0] if returns else None,
        returns[1] if returns else None,
        np.maximum(known[0], known[1]),
        "points" if returns else "rasters",
        supports[0],
        supports[1],
    )


def _laid(values: Heights | None, old: Surface, new: Surface, shift: Shift) -> Heights | None:
    return None if values is None else moved_onto(values, old.grid, new.grid, shift)


def _returns_of_both(old: Survey, new: Survey, earth: Heights, shift: Shift) -> tuple[Seen, Seen] | None:
    if old.clouds is None or new.clouds is None or new.surface is None:
        return None
    # The lower of the two: where one survey takes a boulder for ground, returns are counted from beneath it.
    lower = np.fmin(earth, new.surface.bare_earth)
    reference, _ = local_mean(lower, REFERENCE_SIGMA_M / new.surface.grid.cell_m)
    grid = new.surface.grid
    return returns_seen(old.clouds(), reference, grid, shift=shift), returns_seen(new.clouds(), reference, grid)


def _canopy(old: Surface, new: Surface, shift: Shift, seen: Mask) -> CanopyChange | None:
    if old.canopy is None or new.canopy is None:
        return None
    # A cell without any return has no canopy in the raster; interpolated, it would eat into its neighbours.
    before = moved_onto(old.canopy, old.grid, new.grid, shift, nearest=True)
    return canopy_change(before, new.canopy, seen, cell_m=new.grid.cell_m)


def _density(old: Survey, new: Survey, shift: Shift, elsewhere: Mask, lift: Heights) -> DensityChange | None:
    if old.density is None or new.density is None or old.surface is None or new.surface is None:
        return None
    before = _laid(old.density, old.surface, new.surface, shift)
    errors = [_laid(_own_error(old), old.surface, new.surface, shift), _own_error(new)]
    if before is None:
        return None
    return density_change(
        before,
        new.density,
        *errors,
        cell_m=new.surface.grid.cell_m,
        elsewhere=elsewhere,
        lift=lift,
        allow_leaves=may_differ_in_leaves(old.season, new.season),
    )


def _own_error(survey: Survey) -> Heights | None:
    """The part of the stated error of density that the other survey does not share, m2/m3."""
    if survey.density is None or survey.density_error is None:
        return None
    shared = SHARED_ERROR_RATIO * np.nan_to_num(survey.density)
    stated = np.nan_to_num(survey.density_error, nan=0.3)
    return np.asarray(np.sqrt(np.maximum(stated**2 - shared**2, 0.04 * stated**2)), np.float32)


def may_differ_in_leaves(old: str, new: str, /) -> bool:
    """Whether leaves may be out in one survey and not in the other: they differ, or one of the two does not say."""
    return old != new or old not in ("leaf-on", "leaf-off")
