"""Open land: where no forest stands, how rough the growth is, and where single trees are scattered over it."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Heights, Mask
from pipeline.lattice.means import gaussian_window
from pipeline.lattice.reach import within_reach
from pipeline.norm.symbols import isom

VOID_USUAL_PULSES = 20.0
"""A circle is a void where chance alone would have given it this many pulses and it got none. One circle in 500
million is that empty by chance (exp(-20)), so a void is water or a hole in the survey, not luck."""
VOID_LEAST_RADIUS_M = 3.0
"""Smaller voids are left alone however dense the survey: 6 m across is 0.4 mm on a map at 1:15 000 (our choice)."""
LONE_CROWN_MAX_M2 = isom("408").smallest.area_m2
"""Crowns up to this size, 110 m2, are trees that stand in open land; a larger one is forest. The norm lets white
forest be drawn within 401 from 0.7 x 0.7 mm (405, from memory), which is also the least size of 408."""
SCATTERED_MAX_COVER_RATIO = 0.3
"""Where trees cover more of the surroundings, crowns that do not touch are open forest, not trees in open land (common
practice, no source)."""
SCATTERED_MIN_COVER_RATIO = 0.08
"""Where trees cover more of open land, it is drawn with scattered trees (402, 404), with less each tree is drawn: this
is 8 crowns of 100 m2 in a hectare (our choice)."""
SCATTERED_WINDOW_M = 15.0
"""Sigma in which the cover by lone trees is taken: half the side of the smallest 402 (our choice)."""


def share(part: Heights, whole: Heights, /, *, cell_m: float, sigma_m: float) -> Heights:
    """Share of pulses in a Gaussian window, 0..1; NaN where the window holds none."""
    window = gaussian_window(sigma_m / cell_m, rim="constant")
    above, below = (window(grid.astype(np.float32)) for grid in (part, whole))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = above / below
    return np.where(below > 1e-6, ratio, np.nan).astype(np.float32)


def open_ground(is_cover: Mask, /, *, cell_m: float, radius_m: float) -> Mask:
    """Cells of clearings: every circle of this radius that holds no tree cover, and nothing else.

    The edge lies where the crowns end. What lies outside the grid was not seen, so no circle reaches out of it: half a
    circle without trees at the rim may be a gap that the forest closes beyond it.

    Parameters
    ----------
    is_cover : (rows, cols) cells under trees, and those of which nothing is known
    """
    covered = np.pad(is_cover, 1, constant_values=True)
    centres = ~within_reach(covered, reach_m=radius_m, cell_m=cell_m)
    return within_reach(centres, reach_m=radius_m, cell_m=cell_m)[1:-1, 1:-1]


def voids(pulses: Heights, is_outside: Mask, /, *, cell_m: float, pulses_per_m2: float) -> Mask:
    """Cells of places where no pulse came back at all: calm water, or a hole in the survey. They are no open land.

    A void is made of empty circles, as `open_ground` makes a clearing. The circle is so large that the survey's mean
    density of pulses would give it VOID_USUAL_PULSES, and no smaller than VOID_LEAST_RADIUS_M.

    Parameters
    ----------
    pulses : (rows, cols) pulses in each cell
    is_outside : (rows, cols) cells beyond the survey
    pulses_per_m2 : mean density of pulses in the whole survey
    """
    if pulses_per_m2 <= 0:
        return np.ones(pulses.shape, np.bool_)
    radius_m = void_radius_m(pulses_per_m2)
    # Nothing is known beyond the rim: it must not lend its emptiness to the cells inside.
    return open_ground((pulses > 0) | is_outside, cell_m=cell_m, radius_m=radius_m)


def void_radius_m(pulses_per_m2: float, /) -> float:
    """Radius in metres of the circles that voids are made of; infinite without pulses.

    It is all that the density of the whole survey decides: surveys of more than 0.7 pulses/m2 have one radius.
    """
    usual_m = np.sqrt(VOID_USUAL_PULSES / (np.pi * pulses_per_m2)) if pulses_per_m2 > 0 else np.inf
    return max(VOID_LEAST_RADIUS_M, float(usual_m))


def mean_density(pulses: Heights, is_outside: Mask, /, *, cell_m: float) -> float:
    """Pulses/m2 of the ground that is not outside; 0 where there is none."""
    n_cells = int((~is_outside).sum())
    return float(np.nansum(pulses, dtype=np.float64)) / (n_cells * cell_m**2) if n_cells else 0.0


def lone_crowns(is_cover: Mask, cover_around: Heights, /, *, cell_m: float) -> Mask:
    """Cells of crowns that stand by themselves: no larger than one tree's or three trees', in open surroundings.

    Parameters
    ----------
    is_cover : (rows, cols) cells under trees
    cover_around : (rows, cols) share of pulses that meet trees in the wider surroundings
        In forest of crowns that do not touch it is above SCATTERED_MAX_COVER_RATIO.
    """
    if not is_cover.any():
        return np.zeros(is_cover.shape, np.bool_)
    parts, _ = ndimage.label(is_cover, structure=np.ones((3, 3)))
    area_m2 = np.bincount(parts.ravel()) * cell_m**2
    area_m2[0] = np.inf
    # A crown counts as one thing: it is lone if the place where most stands around it is open enough.
    densest = ndimage.maximum(np.nan_to_num(cover_around), parts, np.arange(len(area_m2)))
    is_lone = (area_m2 <= LONE_CROWN_MAX_M2) & (np.asarray(densest) < SCATTERED_MAX_COVER_RATIO)
    lone: Mask = is_lone[parts]
    return lone


def scattered_trees(tree_pulses: Heights, pulses: Heights, is_open: Mask, /, *, cell_m: float) -> Mask:
    """Open cells around which trees are too many to be drawn one by one: cover above SCATTERED_MIN_COVER_RATIO."""
    if not is_open.any():
        return np.zeros(is_open.shape, np.bool_)
    open_f = is_open.astype(np.float32)
    cover = share(tree_pulses * open_f, pulses * open_f, cell_m=cell_m, sigma_m=SCATTERED_WINDOW_M)
    return is_open & (np.nan_to_num(cover) > SCATTERED_MIN_COVER_RATIO)
