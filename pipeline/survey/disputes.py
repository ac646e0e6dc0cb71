"""Where the producer's ground and ours are far apart, and which of the two was believed, in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from pipeline.errors import counted
from pipeline.lattice.grid import EastNorth, Mask
from pipeline.points.producer import DISPUTED_M, Dispute

SQUARE_M = 20.0
"""Side in metres of the squares in which disputed returns are counted: 2 mm on a map of 1:10 000. Our choice."""
LEAST_RETURNS = 3
"""Disputed returns that make a square disputed: single ones are shrubs. Our choice."""
FAR_M = 2.0
"""Mean metres apart from which a square is listed: there, contours run elsewhere. Our choice."""
LISTED = 12
"""Places listed, the worst first: more are not read. Our choice."""
NOT_MARKED = "The producer marked no ground; Tussock found it itself, as it does for any survey."


@dataclass(frozen=True)
class DisputedSquare:
    """Disputed returns in a square of the lattice that is counted from the origin of the CRS.

    Attributes
    ----------
    col, row : int
    producers, ours : int
        Disputed returns about which the producer's ground was believed, and ours.
    apart_mm : int
        Sum over them of how far the return lies from the surface of the other ground. Whole millimetres, so that
        squares cut by the edge of a block add up to the same in any order.
    """

    col: int
    row: int
    producers: int
    ours: int
    apart_mm: int


def count_disputes(dispute: Dispute, places: EastNorth, /) -> list[DisputedSquare]:
    """Disputed returns square by square; `places` are (k, 2) where they lie, in metres."""
    square = np.floor(places / SQUARE_M).astype(np.int64)
    cells, of = np.unique(square, axis=0, return_inverse=True)
    apart_mm = np.rint(np.abs(dispute.apart_m) * 1000)
    counts = (dispute.is_producers, ~dispute.is_producers, apart_mm)
    sums = (np.bincount(of.ravel(), count, len(cells)).astype(np.int64) for count in counts)
    columns = (*cells.T, *sums)
    return [DisputedSquare(*row) for row in zip(*(column.tolist() for column in columns), strict=True)]


def describe_disputes(squares: Sequence[DisputedSquare], /, *, is_marked: bool) -> str:
    """Plain text: on how much ground the two are apart, and the worst places with who was believed there.

    Parameters
    ----------
    squares : sequence of DisputedSquare
        Of all blocks; a square cut by the edge of a block comes more than once.
    is_marked : bool
        Whether the producer marked any ground in the tiles.
    """
    return "\n".join(_lines(squares) if is_marked else [NOT_MARKED]) + "\n"


def _lines(squares: Sequence[DisputedSquare]) -> Iterator[str]:
    table = np.array([(s.col, s.row, s.producers, s.ours, s.apart_mm) for s in squares], np.int64).reshape(-1, 5)
    cells, of = np.unique(table[:, :2], axis=0, return_inverse=True)
    sums = np.zeros((len(cells), 3), np.int64)
    np.add.at(sums, of.ravel(), table[:, 2:])
    is_told = sums[:, :2].sum(axis=1) >= LEAST_RETURNS
    cells, sums = cells[is_told], sums[is_told]
    if not len(cells):
        yield f"Nowhere do the producer's ground and Tussock's own lie more than {DISPUTED_M:g} m apart."
        return
    yield (
        f"The producer's ground and Tussock's own lie more than {DISPUTED_M:g} m apart here and there on "
        f"{_hectares(len(cells))}; the one was taken that has nothing below it."
    )
    is_far = sums[:, 2] >= 1000 * FAR_M * sums[:, :2].sum(axis=1)
    if not is_far.any():
        return
    cells, sums = cells[is_far], sums[is_far]
    yield f"They are more than {FAR_M:g} m apart on {_hectares(len(cells))}:"
    places = [_place(cells[which], sums[which]) for which in _joined(cells)]
    for _, text in sorted(places)[:LISTED]:
        yield f"  {text}"
    if len(places) > LISTED:
        more = counted(len(places) - LISTED, "place that differs less", "places that differ less")
        yield f"  and {more}"


def _joined(cells: EastNorth) -> list[Mask]:
    """(n,) bool for each group of squares that touch."""
    first = cells.min(axis=0)
    held = np.zeros(cells.max(axis=0) - first + 1, np.bool_)
    held[tuple((cells - first).T)] = True
    number, n = ndimage.label(held, np.ones((3, 3)))
    mine = number[tuple((cells - first).T)]
    return [mine == k for k in range(1, n + 1)]


def _place(cells: EastNorth, sums: EastNorth) -> tuple[float, str]:
    """How much a group of squares matters, the most negative first, and the line about it."""
    producers, ours, apart_mm = sums.sum(axis=0).tolist()
    n = producers + ours
    east, north = (cells.mean(axis=0) + 0.5) * SQUARE_M
    apart_m = apart_mm / 1000 / n
    if min(producers, ours) > n / 10:
        whose = f"the producer's ground was taken at {producers / n:.0%} of them, ours at the rest"
    else:
        whose = "the producer's ground was taken" if producers > ours else "ours was taken"
    text = f"{_hectares(len(cells))} around E {east:.0f}, N {north:.0f}: {n} returns {apart_m:.1f} m apart; {whose}"
    return -apart_m * len(cells), text


def _hectares(squares: int) -> str:
    return f"{squares * SQUARE_M**2 / 1e4:.2f} ha"
