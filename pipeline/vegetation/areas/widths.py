"""Strips and necks of green that are narrower than the norm lets them be: drawn wider, or not drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.measure import label

from pipeline.lattice.grid import Mask
from pipeline.vegetation.areas.discs import Discs, discs_of, laid, narrow_cells, steps_from_broad
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, NOT_SEEN
from pipeline.vegetation.areas.merging import Kinds, Limits, Numbers

NARROW_LOSSES = (150, 300)
"""What a cell of a narrow part counts for in each round, in hundredths of a cell drawn one band off: what costs little
is mended first. What is left is seen to when the map is composed, where edges can be moved by less than a cell. Like
the next two fitted on `bc_forest`, `hard_moraine` and `hard_steep`, for agreement with the field at few areas a km2 and
few narrow parts."""
AREA_LOSS = 15_000
"""What one more area counts for, in the same unit: a neck that is cut makes two areas of one."""
FIGHT_RATIO = 2.0
"""How much worse than other wrong cells those of fight are that are drawn as less: a runner must see them."""
TIP_WIDTHS = 2.2
"""Length, in least widths, up to which a narrow part that hangs on broad growth by one end is its tip, and stays; of
what is cut so much is left (our choice)."""
GAP_M = 3.0
"""A neck between two broad parts is cut over this length at least, in its middle: a gap of 0.2 mm on a map at 1:15 000,
which a runner sees (our choice)."""
MIDDLE_RATIO = 0.75
"""The middle of a strip is at least this share as far from its edge as the cells around it (our choice)."""
SPARE_CELLS = 2
"""Cells around a part, beyond the largest disc, that are looked at with it."""
ALL_AROUND = np.ones((3, 3), np.bool_)


@dataclass(frozen=True)
class _Narrow:
    """Narrow parts of areas that are more than tips.

    Attributes
    ----------
    part : (rows, cols) number of the part that each cell lies in, from 1; 0 for what is broad, a tip, or may be narrow
    cut : (rows, cols) cells that go if the part goes: all but the tips that stay
    tips : (rows, cols) other narrow cells
    """

    part: Numbers
    cut: Mask
    tips: Mask


@dataclass(frozen=True)
class _Weighing:
    """By what the ways to draw a part are compared.

    Attributes
    ----------
    loss : (k, k) hundredths, how wrong a cell of one kind is when it is drawn as another
    narrow_loss : what a narrow cell counts for
    discs : the least widths
    """

    loss: Numbers
    narrow_loss: int
    discs: Discs

    def of(self, drawn: Kinds, before: Kinds, evidence: Kinds, tips: Mask) -> int:
        """Hundredths of a cell one band off: what the evidence loses by the change, what is narrow then, and areas."""
        changed = (drawn != before) & (evidence >= 0)
        more = self.loss[evidence[changed], drawn[changed]] - self.loss[evidence[changed], before[changed]]
        n_narrow = np.count_nonzero(narrow_cells(drawn, self.discs) & ~tips)
        n_areas = _labelled(drawn, connectivity=1).max()
        return int(more.sum() + self.narrow_loss * n_narrow + AREA_LOSS * n_areas)


def with_least_widths(kinds: Kinds, /, *, evidence: Kinds, limits: Limits, cell_m: float) -> Kinds:
    """Kinds with hardly a part of 406, 408 and 410 that is narrower than the norm allows.

    Each narrow part is drawn wider or given to what lies beside it, the darkest first, whichever makes least loss
    against `evidence`. Areas that have become too small are left to the caller.

    Parameters
    ----------
    kinds : (rows, cols) of merged areas
    evidence : (rows, cols) what each cell is by itself
    limits : how wrong each kind is as another
    """
    kinds, discs = kinds.copy(), discs_of(cell_m)
    loss = limits.loss.copy()
    loss[AREA_SYMBOLS.index("410")] = np.round(FIGHT_RATIO * loss[AREA_SYMBOLS.index("410")])
    for narrow_loss in NARROW_LOSSES:
        weighing = _Weighing(loss, narrow_loss, discs)
        narrow = _narrow_parts(kinds, discs, cell_m=cell_m)
        for number, window in _windows(narrow.part, kinds, discs):
            part = (narrow.part[window] == number) & narrow_cells(kinds[window], discs)
            _mend(kinds[window], part, narrow.cut[window] & part, narrow.tips[window], evidence[window], weighing)
    return kinds


def _narrow_parts(kinds: Kinds, discs: Discs, *, cell_m: float) -> _Narrow:
    """The narrow parts of all areas that are more than tips."""
    narrow = narrow_cells(kinds, discs)
    parts = _labelled(np.where(narrow, kinds, -1), connectivity=2)
    n_parts = int(parts.max())
    kind = np.full(n_parts + 1, -1)
    kind[parts[narrow]] = kinds[narrow]
    away = np.where(narrow, steps_from_broad(kinds, narrow), 0.0)
    furthest = np.zeros(n_parts + 1)
    np.maximum.at(furthest, parts[narrow], np.where(np.isfinite(away), away, 0.0)[narrow])
    n_ends = _ends_of(parts, np.where(narrow, -1, kinds), kinds)
    kept = TIP_WIDTHS * discs.n_cells[kind]
    kept = np.where(n_ends > 1, np.minimum(kept, furthest - GAP_M / cell_m / 2), kept)
    cut = narrow & (away > kept[parts])
    is_cut = np.zeros(n_parts + 1, np.bool_)
    is_cut[parts[cut]] = True
    part = np.where(is_cut[parts], parts, 0)
    return _Narrow(part, cut, narrow & (part == 0))


def _labelled(kinds: Kinds, *, connectivity: int) -> Numbers:
    """Number of the connected area of each cell, from 1; 0 outside."""
    return np.asarray(label(kinds, background=-1, connectivity=connectivity), np.int64)  # type: ignore[no-untyped-call]


def _ends_of(parts: Numbers, broad: Kinds, kinds: Kinds) -> Numbers:
    """(n + 1,) broad parts of its own area that each narrow part touches over the edge of a cell."""
    ends = _labelled(broad, connectivity=1)
    pairs, n = [], int(ends.max()) + 1
    for a, b in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1], np.s_[1:])):
        for one, other in ((a, b), (b, a)):
            meets = (parts[one] > 0) & (ends[other] > 0) & (kinds[one] == kinds[other])
            pairs.append(parts[one][meets] * n + ends[other][meets])
    return np.bincount(np.unique(np.concatenate(pairs)) // n, minlength=int(parts.max()) + 1)


def _windows(part: Numbers, kinds: Kinds, discs: Discs) -> list[tuple[int, tuple[slice, slice]]]:
    """Number of each part and the cells around it, the darkest parts first, then in the order of their first cells."""
    pad = int(discs.n_cells.max()) + SPARE_CELLS
    found = []
    for number, frame in enumerate(ndimage.find_objects(part), start=1):
        if frame is not None:
            high, wide = (slice(max(at.start - pad, 0), at.stop + pad) for at in frame)
            found.append((int(kinds[frame][part[frame] == number][0]), number, (high, wide)))
    # The bands are the first kinds, from white to fight.
    return [(number, window) for _, number, window in sorted(found, key=lambda one: (-one[0], one[1]))]


def _mend(here: Kinds, part: Mask, cut: Mask, tips: Mask, evidence: Kinds, weighing: _Weighing) -> None:
    """Change one narrow part in place, in the way that loses least; it may stay."""
    if not cut.any():
        return
    options = [here, *_options(here, part, cut, weighing.discs)]
    losses = [weighing.of(one, here, evidence, tips) for one in options]
    here[:] = options[int(np.argmin(losses))]


def _options(here: Kinds, part: Mask, cut: Mask, discs: Discs) -> list[Kinds]:
    """What may become of a part: given to what is nearest or to one of the kinds beside it, or drawn wider."""
    kind = int(here[part][0])
    which = (cut, part) if (cut != part).any() else (cut,)
    found: list[NDArray[np.int16]] = []
    is_other = (here >= 0) & (here != kind) & (here != NOT_SEEN)
    if is_other.any():
        row, col = ndimage.distance_transform_edt(~is_other, return_distances=False, return_indices=True)
        for given in which:
            found.append(np.where(given, here[row, col], here))
            beside = np.unique(here[ndimage.binary_dilation(given, ALL_AROUND) & is_other])
            found += [np.where(given, other, here) for other in beside[: len(beside) if len(beside) > 1 else 0]]
    to_edge = ndimage.distance_transform_edt(here == kind)
    middle = to_edge >= MIDDLE_RATIO * ndimage.maximum_filter(to_edge, 5)
    is_ground = (here >= 0) & (here != NOT_SEEN)
    found += [np.where(laid(widened & middle, discs.of(kind)) & is_ground, np.int16(kind), here) for widened in which]
    return found
