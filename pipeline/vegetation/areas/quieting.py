"""Each cell as it is among its neighbours: single cells of another band are chance, and fray the edges of areas."""

from __future__ import annotations

import numpy as np

from pipeline.compiled import compiled
from pipeline.lattice.grid import Mask
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, NOT_SEEN
from pipeline.vegetation.areas.merging import Kinds, Numbers
from pipeline.vegetation.running.runnability import BAND_OF

WEIGHTS = np.array([1, 4, 6, 4, 1])
"""Weights of the cells two before to two after a cell, along and across: a bell with a standard deviation of one cell
(binomial, so that sums are whole numbers). Fitted on `bc_forest`, `hard_moraine`, `hard_steep` and the sample: of 1,
1.25, 1.5 and 2 cells the first made most truth and most agreement with single cells at equal numbers of areas."""


def quieted(kinds: Kinds, loss: Numbers, /) -> Kinds:
    """Kinds with each cell of forest as the kind that makes least loss for the forest cells around it, by WEIGHTS.

    Open land and ground not seen stay, and say nothing of the forest beside them.

    Parameters
    ----------
    kinds : (rows, cols); cells of -1 are outside and stay
    loss : (k, k) hundredths, how wrong a cell of one kind is when it is drawn as another
    """
    is_forest = np.array([*(symbol in BAND_OF for symbol in AREA_SYMBOLS), *[False] * (len(loss) - NOT_SEEN)])
    return _quieted(kinds, loss, is_forest, WEIGHTS)


@compiled
def _quieted(kinds: Kinds, loss: Numbers, is_forest: Mask, weights: Numbers) -> Kinds:
    rows, cols = kinds.shape
    n_kinds, reach = len(is_forest), len(weights) // 2
    found = kinds.copy()
    weight = np.zeros(n_kinds, np.int64)
    for row in range(rows):
        for col in range(cols):
            own = kinds[row, col]
            if own < 0 or not is_forest[own]:
                continue
            weight[:] = 0
            is_mixed = False
            for i in range(-reach, reach + 1):
                for j in range(-reach, reach + 1):
                    r, c = min(max(row + i, 0), rows - 1), min(max(col + j, 0), cols - 1)
                    kind = kinds[r, c]
                    if kind >= 0 and is_forest[kind]:
                        weight[kind] += weights[i + reach] * weights[j + reach]
                        is_mixed |= kind != own
            if not is_mixed:
                continue
            best = own
            least = np.sum(weight * loss[:n_kinds, own])
            for kind in range(n_kinds):
                if is_forest[kind]:
                    total = np.sum(weight * loss[:n_kinds, kind])
                    if total < least:
                        best, least = kind, total
            found[row, col] = best
    return found
