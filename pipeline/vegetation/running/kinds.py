"""What each cell of the ground is drawn as, with every area at least as large as the standard lets one draw."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Heights, Mask
from pipeline.vegetation.running.areas import Kinds, merge_small_areas
from pipeline.vegetation.running.runnability import BAND_SYMBOLS, Limits, band_of

AREA_SYMBOLS = (*BAND_SYMBOLS, "407", "409", "401", "402", "403", "404")
"""Symbol of each kind; its number in a grid of kinds is its place here."""
NOT_SEEN = len(AREA_SYMBOLS)
"""The kind of cells where too few pulses reach the running layer."""
OUTSIDE = -1

MIN_AREA_M2 = {
    "401": 64.0,
    "402": 900.0,
    "403": 225.0,
    "404": 1406.25,
    "405": 110.25,
    "406": 225.0,
    "407": 337.5,
    "408": 110.25,
    "409": 225.0,
    "410": 64.0,
}
"""Smallest areas of the ISOM 2017-2 on the ground (3.4), from sizes at 1:15 000: 0.55 x 0.55 mm is 8 x 8 m, 0.7 mm
10.5 m, 1 mm 15 m, 1.5 x 1 mm 22.5 x 15 m, 2 mm 30 m, 2.5 mm 37.5 m. Those of 401, 403, 407 and 409 as the IOF's symbol
pages give them, the others from memory of the standard. For 405 it is that of an opening in other screens, for NOT_SEEN
that of 406."""


@dataclass(frozen=True)
class Ground:
    """What is known of each cell, (rows, cols) each.

    Attributes
    ----------
    density : m2/m3 of the running layer, NaN where not seen
    view_density : m2/m3 of the visibility layer, NaN where not seen
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


def decide_kinds(ground: Ground, /, *, limits: Limits, clear_view_m2_per_m3: float, clear_view_ratio: float) -> Kinds:
    """Kind of each cell by itself, before small areas are merged.

    A slow or walking band with a clear view is 407 or 409: what slows the runner stays below eye height, so the
    visibility layer is thin both by itself and beside the whole running layer. Fight is fight, whatever one sees
    through it.
    """
    kinds = band_of(ground.density, limits=limits)
    kinds[kinds < 0] = NOT_SEEN
    is_clear = ground.view_density < np.minimum(clear_view_m2_per_m3, clear_view_ratio * ground.density)
    for hidden, visible in (("406", "407"), ("408", "409")):
        kinds[(kinds == AREA_SYMBOLS.index(hidden)) & is_clear] = AREA_SYMBOLS.index(visible)
    first_open = AREA_SYMBOLS.index("401")
    # 401, 402, 403, 404 count in binary: trees first, roughness second.
    open_kind = first_open + ground.has_trees.astype(np.int16) + 2 * ground.is_rough.astype(np.int16)
    kinds = np.where(ground.is_open, open_kind, kinds)
    return np.where(ground.is_outside, OUTSIDE, kinds).astype(np.int16)


def settle_kinds(kinds: Kinds, /, *, cell_m: float, spare_ratio: float) -> Kinds:
    """Kinds with every area at least `spare_ratio` times its smallest size, as edges lose a little when smoothed."""
    least = {AREA_SYMBOLS.index(symbol): area * spare_ratio for symbol, area in MIN_AREA_M2.items()}
    least[NOT_SEEN] = MIN_AREA_M2["406"] * spare_ratio
    return merge_small_areas(kinds, likeness(), cell_m=cell_m, min_area_m2=least)


def likeness() -> NDArray[np.float64]:
    """(k, k) how readily a small area of one kind is drawn as another.

    Bands next to each other first: two bands apart counts for less than half as much. 407 and 409 lie beside 406
    and 408. Open land becomes other open land before it becomes forest.
    """
    rank = {"405": 0.0, "406": 1.0, "408": 2.0, "410": 3.0, "407": 0.8, "409": 1.8}
    rank |= {"401": 10.0, "402": 10.6, "403": 11.0, "404": 11.4}
    place = np.array([*(rank[symbol] for symbol in AREA_SYMBOLS), 20.0])
    apart = np.abs(np.subtract.outer(place, place))
    like: NDArray[np.float64] = 1 / (1 + np.minimum(apart, 3.0) ** 2)
    np.fill_diagonal(like, 0)
    return like
