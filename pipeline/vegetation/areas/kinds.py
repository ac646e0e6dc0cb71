"""What each cell of the ground is drawn as, with every area at least as large as the standard lets one draw."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Mask
from pipeline.norm.symbols import isom
from pipeline.vegetation.areas.ground import Ground
from pipeline.vegetation.areas.merging import Kinds, merge_small_areas
from pipeline.vegetation.running.runnability import BAND_SYMBOLS, Limits, band_of

AREA_SYMBOLS = (*BAND_SYMBOLS, "407", "409", "401", "402", "403", "404")
"""Symbol of each kind; its number in a grid of kinds is its place here."""
NOT_SEEN = len(AREA_SYMBOLS)
"""The kind of cells where too few pulses reach the running layer."""
OUTSIDE = -1

_OPENING_M2 = isom("408").smallest.area_m2
"""White forest counts as an opening in green or yellow, which the norm allows from 0.7 x 0.7 mm in 401, 408 and 410
(from memory); the table has no column for openings, but 408 is as small."""
MIN_AREA_M2 = {symbol: isom(symbol).smallest.area_m2 for symbol in AREA_SYMBOLS} | {"405": _OPENING_M2}
"""Smallest area of each symbol on the ground."""
MIN_AREA_OF_KIND_M2 = np.array([*(MIN_AREA_M2[symbol] for symbol in AREA_SYMBOLS), MIN_AREA_M2["406"]])
"""Smallest area of each kind on the ground. Ground not seen has no symbol in the norm: it is held to the size of
406 (our choice)."""
CLEAR_VIEW_M2_PER_M3 = 0.1
"""One sees through growth (407, 409 instead of 406, 408) where the layer that hides the view is thinner than this: a
line of sight runs 20 m on average before it meets a leaf, at k = 0.5 (our choice)."""
CLEAR_VIEW_RATIO = 0.5
"""That layer must also be thinner than this share of the whole running layer: so the growth stays low (our choice)."""
AREA_SPARE_RATIO = 1.15
"""Areas of cells are kept this many times their smallest size, as smoothing their edges takes a little off them (our
choice)."""


def decide_kinds(ground: Ground, /, *, limits: Limits) -> Kinds:
    """Kind of each cell by itself, before small areas are merged.

    A slow or walking band with a clear view is 407 or 409: what slows the runner stays below eye height, so the
    layer that hides the view is thin both by itself and beside the whole running layer. Fight is fight, whatever one
    sees through it.
    """
    kinds = band_of(ground.density, limits=limits)
    kinds[kinds < 0] = NOT_SEEN
    is_clear = ground.view_density < np.minimum(CLEAR_VIEW_M2_PER_M3, CLEAR_VIEW_RATIO * ground.density)
    for hidden, visible in (("406", "407"), ("408", "409")):
        kinds[(kinds == AREA_SYMBOLS.index(hidden)) & is_clear] = AREA_SYMBOLS.index(visible)
    first_open = AREA_SYMBOLS.index("401")
    # From 401 scattered trees are one symbol further (402), rough growth two (403), both three (404).
    open_kind = first_open + ground.has_trees.astype(np.int16) + 2 * ground.is_rough.astype(np.int16)
    kinds = np.where(ground.is_open, open_kind, kinds)
    return np.where(ground.is_outside, OUTSIDE, kinds).astype(np.int16)


def settle_kinds(kinds: Kinds, /, *, cell_m: float) -> Kinds:
    """Kinds with every area at least AREA_SPARE_RATIO times its smallest size."""
    least = dict(enumerate(MIN_AREA_OF_KIND_M2 * AREA_SPARE_RATIO))
    return merge_small_areas(kinds, likeness(), cell_m=cell_m, min_area_m2=least)


def cells_of(kinds: Kinds, symbols: Iterable[str], /) -> Mask:
    """(rows, cols) cells drawn as one of these symbols."""
    return np.isin(kinds, [AREA_SYMBOLS.index(symbol) for symbol in symbols])


def likeness() -> NDArray[np.float64]:
    """(k, k) how readily a small area of one kind is drawn as another.

    Bands next to each other first: two bands apart counts for less than half as much. 407 and 409 lie beside 406
    and 408. Open land becomes other open land before it becomes forest. The ranks are our choice.
    """
    rank = {"405": 0.0, "406": 1.0, "408": 2.0, "410": 3.0, "407": 0.8, "409": 1.8}
    rank |= {"401": 10.0, "402": 10.6, "403": 11.0, "404": 11.4}
    place = np.array([*(rank[symbol] for symbol in AREA_SYMBOLS), 20.0])
    apart = np.abs(np.subtract.outer(place, place))
    like: NDArray[np.float64] = 1 / (1 + np.minimum(apart, 3.0) ** 2)
    np.fill_diagonal(like, 0)
    return like
