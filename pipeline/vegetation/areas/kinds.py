"""What each cell of the ground is by itself, and how small the standard lets one draw an area of it."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from pipeline.lattice.grid import Mask
from pipeline.norm.symbols import isom
from pipeline.vegetation.areas.ground import Ground
from pipeline.vegetation.areas.merging import Kinds
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


def decide_kinds(ground: Ground, /, *, limits: Limits) -> Kinds:
    """Kind of each cell by itself, before the mosaic is made one that can be read (`mosaic.settle_kinds`).

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


def cells_of(kinds: Kinds, symbols: Iterable[str], /) -> Mask:
    """(rows, cols) cells drawn as one of these symbols."""
    return np.isin(kinds, [AREA_SYMBOLS.index(symbol) for symbol in symbols])
