"""Open land: where no trees stand, and how rough the growth is."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.grid import Heights, Mask


def open_ground(is_cover: Mask, /, *, cell_m: float, radius_m: float) -> Mask:
    """Cells of clearings: every circle of this radius that holds no tree cover, and nothing else.

    The edge lies where the crowns end. Outside the grid counts as tree-free, so a clearing may run out of the area.
    """
    reach = int(np.ceil(radius_m / cell_m)) + 1
    free = np.pad(~is_cover, reach, constant_values=True)
    centres = ndimage.distance_transform_edt(free) > radius_m / cell_m if not free.all() else free
    if not centres.any():
        return np.zeros(is_cover.shape, np.bool_)
    grown: Mask = ndimage.distance_transform_edt(~centres) <= radius_m / cell_m
    return grown[reach:-reach, reach:-reach]


def share(part: Heights, whole: Heights, /, *, sigma_cells: float) -> Heights:
    """Share of pulses in a Gaussian window, 0..1; NaN where the window holds none."""
    above = ndimage.gaussian_filter(part.astype(np.float32), sigma_cells, mode="nearest")
    below = ndimage.gaussian_filter(whole.astype(np.float32), sigma_cells, mode="nearest")
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = above / below
    return np.where(below > 1e-6, ratio, np.nan).astype(np.float32)
