"""Open land: where no forest stands, how rough the growth is, and where single trees are scattered over it."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Heights, Mask
from pipeline.lattice.reach import within_reach


def share(part: Heights, whole: Heights, /, *, cell_m: float, sigma_m: float) -> Heights:
    """Share of pulses in a Gaussian window, 0..1; NaN where the window holds none."""
    above, below = (
        ndimage.gaussian_filter(grid.astype(np.float32), sigma_m / cell_m, mode="constant") for grid in (part, whole)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = above / below
    return np.where(below > 1e-6, ratio, np.nan).astype(np.float32)


def open_ground(is_cover: Mask, /, *, cell_m: float, radius_m: float) -> Mask:
    """Cells of clearings: every circle of this radius that holds no tree cover, and nothing else.

    The edge lies where the crowns end. Outside the grid counts as tree-free, so a clearing may run out of the area.
    """
    reach = int(np.ceil(radius_m / cell_m)) + 1
    covered = np.pad(is_cover, reach)
    centres = ~within_reach(covered, reach_m=radius_m, cell_m=cell_m)
    return within_reach(centres, reach_m=radius_m, cell_m=cell_m)[reach:-reach, reach:-reach]


def voids(pulses: Heights, is_outside: Mask, /, *, cell_m: float, usual_pulses: float, least_radius_m: float) -> Mask:
    """Cells of places where no pulse came back at all: calm water, or a hole in the survey. They are no open land.

    A void is an opening, in the sense of `open_ground`, of a radius of `least_radius_m` or more within which the
    survey's mean density gives `usual_pulses`: chance leaves exp(-usual_pulses) of such discs empty.
    """
    area_m2 = float((~is_outside).sum()) * cell_m**2
    total = float(pulses.sum())
    if total == 0:
        return np.ones(pulses.shape, np.bool_)
    radius_m = max(least_radius_m, float(np.sqrt(usual_pulses * area_m2 / (np.pi * total))))
    # Nothing is known beyond the rim: it must not lend its emptiness to the cells inside.
    met = np.pad((pulses > 0) | is_outside, 1, constant_values=True)
    return open_ground(met, cell_m=cell_m, radius_m=radius_m)[1:-1, 1:-1]


def lone_crowns(
    is_cover: Mask, cover_around: Heights, /, *, cell_m: float, max_crown_m2: float, max_cover_ratio: float
) -> Mask:
    """Cells of crowns that stand by themselves: no larger than one tree's or three trees', in open surroundings.

    Parameters
    ----------
    is_cover : (rows, cols) cells under trees
    cover_around : (rows, cols) share of pulses that meet trees in the wider surroundings
        In forest of crowns that do not touch it is above `max_cover_ratio`.
    """
    if not is_cover.any():
        return np.zeros(is_cover.shape, np.bool_)
    parts, _ = ndimage.label(is_cover, structure=np.ones((3, 3)))
    area_m2 = np.bincount(parts.ravel()) * cell_m**2
    area_m2[0] = np.inf
    # A crown counts as one thing: it is lone if the place where most stands around it is open enough.
    densest = ndimage.maximum(np.nan_to_num(cover_around), parts, np.arange(len(area_m2)))
    is_lone = (area_m2 <= max_crown_m2) & (np.asarray(densest) < max_cover_ratio)
    lone: Mask = is_lone[parts]
    return lone


def scattered_trees(
    tree_pulses: Heights, pulses: Heights, is_open: Mask, /, *, cell_m: float, min_cover_ratio: float, window_m: float
) -> Mask:
    """Open cells around which trees are too many to be drawn one by one: cover above `min_cover_ratio`."""
    if not is_open.any():
        return np.zeros(is_open.shape, np.bool_)
    open_f = is_open.astype(np.float32)
    cover = share(tree_pulses * open_f, pulses * open_f, cell_m=cell_m, sigma_m=window_m)
    return is_open & (np.nan_to_num(cover) > min_cover_ratio)
