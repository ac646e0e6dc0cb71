"""What is known of each cell of ground: undergrowth, open land, rough growth, scattered trees."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.lattice.grid import Heights, Mask
from pipeline.vegetation.areas.open_land import (
    SCATTERED_WINDOW_M,
    lone_crowns,
    open_ground,
    scattered_trees,
    share,
)

COVER_WINDOW_M = 1.0
"""Sigma in which the share of pulses that meet trees is taken: half a crown's width. Wider, the edge of the forest
blurs; narrower, chance gaps between pulses look like open land (our choice)."""
THICKET_WINDOW_M = 2.0
"""Sigma in which treeless thicket is told from open land: it holds some 100 pulses at 2 pulses/m2 (our choice)."""
THICKET_MIN_VIEW_RATIO = 0.15
"""Treeless growth that stops a greater share of the pulses above eye height is thicket, not open land with bushes.
It is the share that 0.22 m2/m3 stops, well within 406 (our choice)."""
GROWTH_WINDOW_M = 2.0
"""Sigma in which the share of pulses that meet grass or heath is taken: it holds some 100 pulses at 2 pulses/m2 (our
choice)."""


@dataclass(frozen=True)
class Ground:
    """What is known of each cell, (rows, cols) each.

    Attributes
    ----------
    density : m2/m3 of the running layer, NaN where not seen
    view_density : m2/m3 of the layer that hides the view, NaN where not seen
    is_open, is_rough, has_trees : bool
        Open land; rough growth; scattered trees (the last two matter in open land only).
    is_outside : bool
    """

    density: Heights
    view_density: Heights
    is_open: Mask
    is_rough: Mask
    has_trees: Mask
    is_outside: Mask


def look_at_ground(
    profile: Mapping[str, Heights],
    density: Heights,
    view_density: Heights,
    is_outside: Mask,
    is_void: Mask,
    /,
    *,
    cell_m: float,
    open_max_cover_ratio: float,
    open_radius_m: float,
    rough_growth_ratio: float,
) -> Ground:
    """What decides the kind of each cell.

    Parameters
    ----------
    profile : grids of `pipeline.terrain.profile.profile_grids`
    density, view_density : (rows, cols) of `pipeline.vegetation.running.undergrowth`, m2/m3
    is_outside, is_void : (rows, cols) cells beyond the survey, and cells of its holes (`voids`)
    open_max_cover_ratio : share of pulses that meet trees from which a cell is under trees
    open_radius_m : radius of the circle that fits into every clearing
    rough_growth_ratio : share of pulses that meet grass or heath from which open land is rough
    """
    is_cover = _cover(profile, cell_m=cell_m, max_ratio=open_max_cover_ratio)
    around = share(profile["tree_pulses"], profile["pulses"], cell_m=cell_m, sigma_m=SCATTERED_WINDOW_M)
    is_lone = lone_crowns(is_cover, around, cell_m=cell_m)
    is_unfit = (is_cover & ~is_lone) | is_outside
    is_open = open_ground(is_unfit, cell_m=cell_m, radius_m=open_radius_m) & ~is_void
    growth = share(profile["growth"], profile["entered"], cell_m=cell_m, sigma_m=GROWTH_WINDOW_M)
    return Ground(
        density=density,
        view_density=view_density,
        is_open=is_open,
        is_rough=growth > rough_growth_ratio,
        has_trees=scattered_trees(profile["tree_pulses"], profile["pulses"], is_open, cell_m=cell_m),
        is_outside=is_outside,
    )


def _cover(profile: Mapping[str, Heights], *, cell_m: float, max_ratio: float) -> Mask:
    """Cells under trees or in thicket too high to see over."""
    trees = share(profile["tree_pulses"], profile["pulses"], cell_m=cell_m, sigma_m=COVER_WINDOW_M)
    view = share(profile["stopped_visibility"], profile["entered"], cell_m=cell_m, sigma_m=THICKET_WINDOW_M)
    return (trees > max_ratio) | (view > THICKET_MIN_VIEW_RATIO)
