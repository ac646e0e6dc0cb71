"""The producer's ground: whether to keep it, and how.

Many surveys come with a good ground class, some with a thinned one (few returns, but right ones), some with a poor one
or none. The decision is one for the whole area, from counts that blocks can add up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import EastNorth, EastNorthHeight, Mask
from pipeline.lattice.windows import highest_around
from pipeline.returns.triangulation import cell_means, height_above

PRODUCER_MIN_GROUND_PER_M2 = 0.05
"""Fewer ground returns of the producer than this, where returns are, make no surface of 4 m detail."""
PRODUCER_MAX_ABOVE_M = 0.1
"""The producer's ground may lie this far above ours on the whole; more means plants in it."""
PRODUCER_MAX_SPREAD_M = 0.25
"""And spread this much about it: 5 to 10 cm are noise, the rest is what the two filters dispute."""
PRODUCER_MIN_SHARE = 0.85
"""Share of cells with our ground in which the producer's must be near; less means holes in it."""
PRODUCER_CELL_M = 1.0
"""Cells in which the two grounds are compared: a metre holds several returns of a dense survey."""
PRODUCER_NEAR_M = 4.0
"""How near: between the producer's ground returns a mapper's detail is lost."""
PRODUCER_JOIN_M = 0.08
"""Where the producer's ground is kept, our returns this near its surface join: thinned, not refused."""

PACK = 2**32
"""Column and row of a cell packed into one number."""


@dataclass(frozen=True)
class GroundEvidence:
    """How the producer's ground compares with ours; counts and sums, so that blocks add up.

    Attributes
    ----------
    cells : int
        Cells with any return.
    own_cells, near_cells : int
        Cells with our ground; those of them with the producer's ground near.
    own_returns, producer_returns : int
    own_last, producer_last : int
        Of them last returns of their pulses: a producer's ground that is not is a sign of a poor filter.
    compared, above_m, square_m2 : float
        Producer's ground returns compared with our surface, sum of their heights above it and of the squares.
    """

    cells: int = 0
    own_cells: int = 0
    near_cells: int = 0
    own_returns: int = 0
    producer_returns: int = 0
    own_last: int = 0
    producer_last: int = 0
    compared: float = 0.0
    above_m: float = 0.0
    square_m2: float = 0.0

    def __add__(self, other: GroundEvidence) -> GroundEvidence:
        return GroundEvidence(**{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)})


@dataclass(frozen=True)
class GroundChoice:
    """Whose ground is used, and why in one sentence with figures."""

    ground_from: Literal["producer", "own"]
    reason: str


def ground_evidence(
    enh: EastNorthHeight, is_own: Mask, is_producer: Mask, is_last: Mask, is_core: Mask, /
) -> GroundEvidence:
    """Counts of one block's core; the halo only helps the surface.

    Parameters
    ----------
    enh : (n, 3) float64, metres
    is_own, is_producer, is_last, is_core : (n,) bool
        Ground by our filter, by the producer, last returns, returns of the block's core.
    """
    cell_m = PRODUCER_CELL_M
    cells = _cells(enh[is_core], cell_m=cell_m)
    own, producer = is_own & is_core, is_producer & is_core
    own_cells = _cells(enh[own], cell_m=cell_m)
    above = _above(enh[is_own], enh[producer])
    return GroundEvidence(
        cells=len(cells),
        own_cells=len(own_cells),
        near_cells=_count_near(
            own_cells, _cells(enh[is_producer], cell_m=cell_m), near_cells=int(PRODUCER_NEAR_M / cell_m)
        ),
        own_returns=int(np.count_nonzero(own)),
        producer_returns=int(np.count_nonzero(producer)),
        own_last=int(np.count_nonzero(own & is_last)),
        producer_last=int(np.count_nonzero(producer & is_last)),
        compared=float(np.count_nonzero(np.isfinite(above))),
        above_m=float(np.nansum(above)),
        square_m2=float(np.nansum(above**2)),
    )


def choose_ground(evidence: GroundEvidence, /) -> GroundChoice:
    """The producer's ground where it is dense enough, without holes, and on our surface or below it; else ours."""
    per_m2 = evidence.producer_returns / max(evidence.cells, 1) / PRODUCER_CELL_M**2
    if evidence.producer_returns == 0:
        return GroundChoice("own", "The survey comes without ground returns.")
    if per_m2 < PRODUCER_MIN_GROUND_PER_M2:
        return GroundChoice("own", f"The producer's ground has only {per_m2:.2f} returns/m2.")
    share = evidence.near_cells / max(evidence.own_cells, 1)
    if share < PRODUCER_MIN_SHARE:
        return GroundChoice("own", f"The producer's ground is missing from {1 - share:.0%} of the ground we see.")
    mean_m = evidence.above_m / max(evidence.compared, 1)
    spread_m = math.sqrt(max(evidence.square_m2 / max(evidence.compared, 1) - mean_m**2, 0))
    if mean_m > PRODUCER_MAX_ABOVE_M or spread_m > PRODUCER_MAX_SPREAD_M:
        return GroundChoice("own", f"The producer's ground lies {mean_m:+.2f} m from ours, spread {spread_m:.2f} m.")
    thinned = evidence.own_returns / evidence.producer_returns
    return GroundChoice(
        "producer",
        f"The producer's ground ({per_m2:.2f} returns/m2, ours has {thinned:.1f} times as many) covers {share:.0%} of "
        f"the ground we see and lies {mean_m:+.2f} m from ours, spread {spread_m:.2f} m.",
    )


def keep_producer(enh: EastNorthHeight, is_producer: Mask, is_own: Mask, /) -> NDArray[np.bool_]:
    """(n,) bool: the producer's ground, and ours where it lies on the producer's surface.

    A thinned ground class is filled up again; what the producer's filter refused, such as plants close to the ground,
    stays out, since it lies above that surface.
    """
    if not is_producer.any():
        return is_own
    above = _above(enh[is_producer], enh[is_own])
    ground = is_producer.copy()
    ground[np.flatnonzero(is_own)[np.abs(above) <= PRODUCER_JOIN_M]] = True
    return ground


def _above(ground: EastNorthHeight, enh: EastNorthHeight, /) -> NDArray[np.float64]:
    """(m,) metres above the triangulated ground, read from a grid of half cells; NaN without ground."""
    cell_m = 0.5 * PRODUCER_CELL_M
    return height_above(enh, cell_means(ground, cell_m=cell_m), cell_m=cell_m)


def _cells(enh: EastNorthHeight, /, *, cell_m: float) -> EastNorth:
    """(m, 2) the cells that hold a return, as whole numbers of cells, each once."""
    cell = np.floor(enh[:, :2] / cell_m).astype(np.int64)
    return np.column_stack(np.divmod(np.unique(cell[:, 0] * PACK + cell[:, 1] + PACK // 2), PACK)).astype(np.float64)


def _count_near(cells: EastNorth, others: EastNorth, /, *, near_cells: int) -> int:
    """How many cells have one of the others at most so many cells away in east and in north."""
    if len(cells) == 0 or len(others) == 0:
        return 0
    first = np.minimum(cells.min(axis=0), others.min(axis=0))
    shape = (np.maximum(cells.max(axis=0), others.max(axis=0)) - first + 1).astype(np.int64)
    held = np.zeros(shape, np.bool_)
    held[tuple((others - first).astype(np.int64).T)] = True
    wide = highest_around(held, near_cells)
    return int(np.count_nonzero(wide[tuple((cells - first).astype(np.int64).T)]))
