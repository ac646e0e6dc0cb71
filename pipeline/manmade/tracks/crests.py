"""Crests of the evidence: thin chains of cells along which it is higher than on both sides."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from skimage.filters import apply_hysteresis_threshold

from pipeline.compiled import compiled
from pipeline.lattice.grid import Heights, Mask
from pipeline.manmade.tracks.strips import DIRECTIONS

BESIDE_M = 2.0
"""Distance to either side at which a crest must be higher (our choice)."""


def crests(
    strength: Heights, direction: NDArray[np.int8], /, *, cell_m: float, low: float, high: float, least_m: float
) -> Mask:
    """(rows, cols) bool: cells of crests that hang together over some length and are high somewhere.

    Parameters
    ----------
    strength, direction : of `pipeline.manmade.tracks.evidence.Evidence`
    low, high : a crest goes on as far as it is above `low`, and must be above `high` in one cell
    least_m : length of the shortest crest
    """
    top = _on_crest(strength, direction, BESIDE_M / cell_m, DIRECTIONS)
    chains = apply_hysteresis_threshold(np.where(top, strength, 0), low, high)  # type: ignore[no-untyped-call]
    joined = ndimage.binary_closing(chains, np.ones((3, 3), bool)) | chains
    label, n = ndimage.label(joined, np.ones((3, 3), bool))
    size = _spans(label, n)
    return np.asarray((size * cell_m >= least_m)[label])


def _spans(label: NDArray[np.integer], n: int) -> NDArray[np.float64]:
    """(n + 1,) cells from one end of the box around each set to the other; 0 for what is in none."""
    span = np.zeros(n + 1)
    for number, box in enumerate(ndimage.find_objects(label), start=1):
        span[number] = np.hypot(box[0].stop - box[0].start, box[1].stop - box[1].start)
    return span


@compiled
def _on_crest(strength: Heights, direction: NDArray[np.int8], beside: float, directions: int) -> Mask:
    """(rows, cols) bool: cells at least as strong as what lies to the left and to the right of their direction."""
    rows, cols = strength.shape
    on = np.zeros((rows, cols), np.bool_)
    for row in range(rows):
        for col in range(cols):
            here = strength[row, col]
            if here <= 0:
                continue
            angle = np.pi * direction[row, col] / directions
            down, right = -np.cos(angle) * beside, -np.sin(angle) * beside
            r, c = int(np.round(row + down)), int(np.round(col + right))
            r2, c2 = int(np.round(row - down)), int(np.round(col - right))
            if min(r, c, r2, c2) < 0 or max(r, r2) >= rows or max(c, c2) >= cols:
                continue
            on[row, col] = here >= strength[r, c] and here >= strength[r2, c2]
    return on
