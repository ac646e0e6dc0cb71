"""Which part of an area to map first: one piece of ground that gives most map for an hour."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from pipeline.effort.rates.trade import Numbers

PIECE_KM2 = 3.0
"""Ground of the piece, in square kilometres: enough for a small race. Common practice, no source."""
REACH_RATIO = 1.3
"""How far from the square it grows from a piece may reach, over the radius of a disc of its size: a piece that winds
through all cheap squares of a forest is no ground for a race. Our choice."""
BESIDE = ((1, 0), (-1, 0), (0, 1), (0, -1))


def best_piece(
    place: NDArray[np.int64], area_km2: Numbers, worth: Numbers, hours: Numbers, /, *, piece_km2: float = PIECE_KM2
) -> NDArray[np.int64]:
    """Numbers of the squares of the piece, in the order in which it grows; empty where the area is hardly larger.

    It grows from each square in turn by the neighbour that keeps the worth for an hour highest, within reach of where
    it began, and of the pieces so grown the best is taken. That is not always the best of all pieces, but near it.

    Parameters
    ----------
    place : (n, 2) column and row of the squares
    area_km2, worth, hours : (n,) of each square; worth in any unit
    """
    if area_km2.sum() <= piece_km2 * 1.1:
        return np.empty(0, np.int64)
    number_at = {(int(col), int(row)): number for number, (col, row) in enumerate(place)}
    reach = REACH_RATIO * math.sqrt(piece_km2 / math.pi / float(area_km2.max()))
    pieces = []
    for start in range(len(place)):
        is_near = ((place - place[start]) ** 2).sum(axis=1) <= reach**2
        near = {where: number for where, number in number_at.items() if is_near[number]}
        pieces.append(_grown(start, near, place, area_km2, worth, hours, piece_km2))
    whole = [piece for piece in pieces if piece is not None]
    if not whole:
        return np.empty(0, np.int64)
    ratios = [worth[piece].sum() / hours[piece].sum() for piece in whole]
    return whole[int(np.argmax(ratios))]


def _grown(
    start: int,
    number_at: dict[tuple[int, int], int],
    place: NDArray[np.int64],
    area_km2: Numbers,
    worth: Numbers,
    hours: Numbers,
    piece_km2: float,
) -> NDArray[np.int64] | None:
    """The piece that grows from a square; None where the ground in reach ends before it is large enough."""
    piece, taken, rim = [start], {start}, _beside(start, number_at, place)
    area, won, spent = area_km2[start], worth[start], hours[start]
    while area < piece_km2:
        if not rim:
            return None
        best = max(rim, key=lambda one: ((won + worth[one]) / (spent + hours[one]), -one))
        piece.append(best)
        taken.add(best)
        rim = (rim | _beside(best, number_at, place)) - taken
        area, won, spent = area + area_km2[best], won + worth[best], spent + hours[best]
    return np.array(piece, np.int64)


def _beside(number: int, number_at: dict[tuple[int, int], int], place: NDArray[np.int64]) -> set[int]:
    col, row = place[number].tolist()
    near = ((col + right, row + up) for right, up in BESIDE)
    return {number_at[one] for one in near if one in number_at}
