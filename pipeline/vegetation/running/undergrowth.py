"""How thick the plants are that a runner pushes through, and those that hide the view, in every cell of the area."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Heights
from pipeline.vegetation.running.density import (
    Counts,
    count_in_windows,
    density_standard_error,
    layer_thickness_m,
    plant_area_density,
)

VIEW_WINDOW_M = 3.0
"""Sigma of the window in which pulses are counted for the view. Twice that of the running layer, since one sees
across an area, not into a cell (our choice)."""


def running_density(
    profile: Mapping[str, Heights],
    /,
    *,
    cell_m: float,
    running_bottom_m: float,
    running_top_m: float,
    window_m: float,
    extinction: float,
) -> tuple[Heights, Heights]:
    """Plant-area density of the running layer and its standard error, (rows, cols) each, m2/m3; NaN where not seen.

    Parameters
    ----------
    profile : grids of `pipeline.terrain.profile.profile_grids`
    running_bottom_m, running_top_m : edges of the layer above the ground
    window_m : sigma of the window pulses are counted in where many reach the layer
    extinction : k of Beer and Lambert's law, see `plant_area_density`
    """
    counts = _counts(profile, "stopped", cell_m=cell_m, window_m=window_m)
    layer_m = layer_thickness_m(running_bottom_m, running_top_m)
    density = plant_area_density(
        counts.entered, counts.stopped, layer_m=layer_m, extinction=extinction, path_ratio=_path_ratio(counts)
    )
    error = density_standard_error(
        counts.entered, counts.stopped, layer_m=layer_m, extinction=extinction, path_ratio=_path_ratio(counts)
    )
    return _where_seen(density, counts), _where_seen(error, counts)


def view_density(
    profile: Mapping[str, Heights],
    /,
    *,
    cell_m: float,
    visibility_bottom_m: float,
    running_top_m: float,
    extinction: float,
) -> Heights:
    """Plant-area density of the layer that hides the view, (rows, cols), m2/m3; NaN where not seen.

    Parameters
    ----------
    profile : grids of `pipeline.terrain.profile.profile_grids`
    visibility_bottom_m, running_top_m : edges of the layer above the ground
    extinction : k of Beer and Lambert's law, see `plant_area_density`
    """
    counts = _counts(profile, "stopped_visibility", cell_m=cell_m, window_m=VIEW_WINDOW_M)
    density = plant_area_density(
        counts.entered,
        counts.stopped,
        layer_m=layer_thickness_m(visibility_bottom_m, running_top_m),
        extinction=extinction,
        path_ratio=_path_ratio(counts),
    )
    return _where_seen(density, counts)


def low_part(
    density: Heights, view: Heights, /, *, running_bottom_m: float, visibility_bottom_m: float, running_top_m: float
) -> Heights:
    """What of the density of the running layer stands below eye height, (rows, cols), m2/m3 of the whole layer.

    Parameters
    ----------
    density, view : of `running_density` and `view_density`; the windows differ, so the part is held within the density
    """
    share = (running_top_m - visibility_bottom_m) / layer_thickness_m(running_bottom_m, running_top_m)
    return np.clip(density - np.nan_to_num(view) * share, 0, np.maximum(density, 0)).astype(np.float32)


def _counts(profile: Mapping[str, Heights], stopped: str, *, cell_m: float, window_m: float) -> Counts:
    return count_in_windows(profile["entered"], profile[stopped], profile["path_sum"], cell_m=cell_m, window_m=window_m)


def _path_ratio(counts: Counts) -> NDArray[np.floating]:
    """Mean length of the pulses' path through a layer, as a multiple of its thickness; 1 where none entered."""
    return np.where(counts.entered > 0, counts.path_sum / np.maximum(counts.entered, 1e-6), 1.0)


def _where_seen(values: Heights, counts: Counts) -> Heights:
    return np.where(counts.is_seen, values, np.float32(np.nan))
