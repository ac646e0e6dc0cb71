"""Flight lines brought together: how far each lies off the mean of all, and its returns moved back.

Lines of one survey differ by centimetres in height and decimetres in plan: errors of position, attitude and mounting.
Two lines over one slope then make two surfaces; each stands on the other like low growth, and ground is lost.
Where two lines have ground in one small cell, a plane through both and the step between them tell the difference in
height, which changes with the slope when the lines differ in plan. Least squares over all pairs share it out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Self

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.returns.cloud import Cloud
from pipeline.returns.triangulation import cell_means, height_above

WITHIN_M = 0.5
"""How far above or below the ground, in metres, last returns are compared: had only those been taken that the filter
calls ground, the higher line would be cut off at the top, and half the difference with it. Our choice."""
CELL_M = 3.0
"""Side in metres of the cells in which two lines are compared: small enough for ground to be a plane, large enough for
several returns of each line. Our choice."""
LEAST_RETURNS = 4
"""Fewest ground returns of each line in such a cell. Our choice."""
MAX_ROUGH_M = 0.12
"""Root mean square distance of the returns from the plane and the step up to which a cell is smooth ground. Our
choice: rocks and herbs say nothing of the lines."""
LEAST_CELLS = 50
"""Fewest cells that two lines must share to be compared. Our choice."""
TURNS = 10
"""How often the weights of cells that do not fit (the biweight of Tukey) are drawn anew. Our choice."""
BIWEIGHT = 4.685
"""Standard deviations at which a cell loses its weight (Beaton and Tukey 1974, 95 % efficient for normal errors)."""
SURE = 4.0
"""Standard errors that a shift in plan must have to be believed: on level ground nothing tells it. Our choice."""
LEAST_PLAN_M = 0.05
"""Shift in plan, in metres, below which it is left alone: at 45 degrees it is the noise of the heights. Our choice."""
MOST_PLAN_M = 1.5
"""Shift in plan, in metres, beyond which it is no error of a survey but of this comparison, and left alone. Our
choice."""


@dataclass(frozen=True)
class LineCells:
    """Cells in which two flight lines have smooth ground.

    Attributes
    ----------
    first, second : int
        Point source IDs.
    step_m : (n,) float64, metres
        Height of the second line above the first.
    slope : (n, 2) float64
        Rise over run of the common plane to the east and to the north.
    n_returns : (2,) int
        Ground returns of either line in these cells.
    """

    first: int
    second: int
    step_m: NDArray[np.float64]
    slope: NDArray[np.float64]
    n_returns: tuple[int, int]

    @classmethod
    def joined(cls, parts: Sequence[LineCells], /) -> Self:
        """Those of the same two lines in several pieces of the survey."""
        step_m, slope = (np.concatenate([getattr(part, name) for part in parts]) for name in ("step_m", "slope"))
        of_first, of_second = (sum(part.n_returns[which] for part in parts) for which in (0, 1))
        return cls(parts[0].first, parts[0].second, step_m, slope, (of_first, of_second))


@dataclass(frozen=True)
class LineShift:
    """What is added to the returns of a flight line to bring it to the mean of all.

    Attributes
    ----------
    line : int
        Point source ID.
    east_m, north_m, up_m : float
    """

    line: int
    east_m: float
    north_m: float
    up_m: float


@dataclass(frozen=True)
class Levelling:
    """How flight lines are levelled, and what it does.

    Attributes
    ----------
    shifts : tuple of LineShift
        Empty where no two lines share enough smooth ground.
    before_m, after_m : float, metres
        Median height of a line above or below another where two meet on smooth ground, as flown and once levelled;
        NaN where none meet.
    n_cells : int
        Cells of 3 m in which two lines meet on smooth ground.
    """

    shifts: tuple[LineShift, ...]
    before_m: float
    after_m: float
    n_cells: int


def near_ground(cloud: Cloud, is_ground: Mask, /) -> Cloud:
    """The last returns not far from the surface of the ground, whichever line they belong to."""
    if not is_ground.any():
        return cloud.take(is_ground)
    above = height_above(cloud.enh, cell_means(cloud.enh[is_ground], cell_m=1.0), cell_m=0.5)
    return cloud.take(cloud.is_last & cloud.is_usable & (np.abs(above) <= WITHIN_M))


def find_levelling(cells: Iterable[LineCells], /) -> Levelling:
    """What to add to each line, and how far apart the lines lie before and after, from the cells of pieces of it."""
    parts = list(cells)
    shifts = line_shifts(parts)
    of_line = {shift.line: np.array([shift.east_m, shift.north_m, shift.up_m]) for shift in shifts}
    before = [part.step_m for part in parts]
    after = []
    for part in parts:
        moved = of_line.get(part.second, np.zeros(3)) - of_line.get(part.first, np.zeros(3))
        after.append(part.step_m + moved[2] - part.slope @ moved[:2])
    n_cells = sum(map(len, before))
    if n_cells == 0:
        return Levelling(shifts, float("nan"), float("nan"), 0)
    before_m, after_m = (float(np.median(np.abs(np.concatenate(steps)))) for steps in (before, after))
    return Levelling(shifts, before_m, after_m, n_cells)


def line_cells(ground: EastNorthHeight, flight_line: NDArray[np.uint16], /) -> list[LineCells]:
    """The cells that every two lines share; returns near the ground and their lines."""
    if len(ground) == 0:
        return []
    cell = np.floor(ground[:, :2] / CELL_M).astype(np.int64)
    cell -= cell.min(axis=0)
    number = cell[:, 0] * (int(cell[:, 1].max()) + 1) + cell[:, 1]
    # Places and heights from the corner of the cell and the mean: sums of squares then keep their digits.
    local = np.column_stack((ground[:, :2] - (np.floor(ground[:, :2] / CELL_M) + 0.5) * CELL_M, ground[:, 2]))
    local[:, 2] -= np.mean(ground[:, 2])
    n_cells = int(number.max()) + 1
    sums = {
        int(line): _moments(local[flight_line == line], number[flight_line == line], n_cells)
        for line in np.unique(flight_line)
    }
    return [_compared(one, sums[one], other, sums[other]) for one, other in combinations(sorted(sums), 2)]


def _moments(local: EastNorthHeight, number: NDArray[np.int64], n_cells: int) -> NDArray[np.float64]:
    """(n_cells, 10): count, mean east, north and height, and sums of squares and products about the means."""
    count = np.bincount(number, minlength=n_cells).astype(np.float64)
    mean = np.stack([np.bincount(number, axis, n_cells) for axis in local.T]) / np.maximum(count, 1)
    rest = local - mean.T[number]
    pairs = ((0, 0), (0, 1), (1, 1), (0, 2), (1, 2), (2, 2))
    products = np.stack([np.bincount(number, rest[:, a] * rest[:, b], n_cells) for a, b in pairs])
    return np.asarray(np.concatenate((count[None], mean, products)).T, np.float64)


def _compared(first: int, of_first: NDArray[np.float64], second: int, of_second: NDArray[np.float64], /) -> LineCells:
    """The cells with enough smooth ground of both lines; one plane and a step through both in each."""
    enough = (of_first[:, 0] >= LEAST_RETURNS) & (of_second[:, 0] >= LEAST_RETURNS)
    one, other = of_first[enough], of_second[enough]
    ee, en, nn, eh, nh, hh = (one[:, 4:] + other[:, 4:]).T
    count = one[:, 0] + other[:, 0]
    determinant = ee * nn - en**2
    is_spread = determinant > (0.1 * CELL_M) ** 4 * count**2
    with np.errstate(divide="ignore", invalid="ignore"):
        to_east = (eh * nn - nh * en) / determinant
        to_north = (nh * ee - eh * en) / determinant
        rough_m = np.sqrt(np.maximum(hh - to_east * eh - to_north * nh, 0) / np.maximum(count - 4, 1))
    apart = other[:, 1:4] - one[:, 1:4]
    step_m = apart[:, 2] - to_east * apart[:, 0] - to_north * apart[:, 1]
    smooth = is_spread & (rough_m <= MAX_ROUGH_M)
    slope = np.column_stack((to_east, to_north))[smooth]
    return LineCells(first, second, step_m[smooth], slope, (int(one[smooth, 0].sum()), int(other[smooth, 0].sum())))


def line_shifts(cells: Iterable[LineCells], /) -> tuple[LineShift, ...]:
    """What to add to each flight line, by least squares over the pairs; lines that share no ground are left out.

    The mean of all lines, weighted by their returns in shared cells, stays where it is.
    """
    parts: dict[tuple[int, int], list[LineCells]] = {}
    for piece in cells:
        parts.setdefault((piece.first, piece.second), []).append(piece)
    pairs = [joined for joined in map(LineCells.joined, parts.values()) if len(joined.step_m) >= LEAST_CELLS]
    if not pairs:
        return ()
    differences = [_difference(pair) for pair in pairs]
    lines = sorted({line for pair in pairs for line in (pair.first, pair.second)})
    shifts = -_shared_out(lines, pairs, differences)
    return tuple(LineShift(line, *map(float, shift)) for line, shift in zip(lines, shifts, strict=True))


def _difference(pair: LineCells, /) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(3,) metres the second line lies east, north and up of the first, and (3,) weights, 1 over the variances.

    A step between lines is their difference in height less the slope times their difference in plan.
    """
    columns = np.column_stack((-pair.slope, np.ones(len(pair.step_m))))
    found, spread = _robust(columns, pair.step_m)
    plan_m = float(np.hypot(*found[:2]))
    sure = plan_m > SURE * float(np.sqrt(np.trace(spread[:2, :2])))
    if not (sure and LEAST_PLAN_M < plan_m < MOST_PLAN_M):
        up, variance = _robust(columns[:, 2:], pair.step_m)
        return np.array([0.0, 0.0, up[0]]), 1 / np.array([np.inf, np.inf, variance[0, 0]])
    return found, 1 / np.diag(spread)


def _robust(
    columns: NDArray[np.float64], values: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Least squares with Tukey's biweight: the k coefficients and their (k, k) covariance."""
    weight = np.ones(len(values))
    k = columns.shape[1]
    found: NDArray[np.float64] = np.zeros(k)
    spread: NDArray[np.float64] = np.eye(k)
    for _ in range(TURNS):
        weighted = columns * weight[:, None]
        inverse = np.asarray(np.linalg.pinv(weighted.T @ columns), np.float64)
        found = np.asarray(inverse @ (weighted.T @ values), np.float64)
        rest = values - columns @ found
        sigma = max(float(1.4826 * np.median(np.abs(rest))), 1e-4)
        spread = inverse * sigma**2
        weight = np.clip(1 - (rest / (BIWEIGHT * sigma)) ** 2, 0, None) ** 2
    return found, spread


def _shared_out(
    lines: Sequence[int],
    pairs: Sequence[LineCells],
    differences: Sequence[tuple[NDArray[np.float64], NDArray[np.float64]]],
    /,
) -> NDArray[np.float64]:
    """(lines, 3) metres that each line lies east, north and up of the mean of all."""
    place = {line: at for at, line in enumerate(lines)}
    returns = np.zeros(len(lines))
    for pair in pairs:
        returns[place[pair.first]] += pair.n_returns[0]
        returns[place[pair.second]] += pair.n_returns[1]
    off = np.zeros((len(lines), 3))
    for axis in range(3):
        rows = np.zeros((len(pairs), len(lines)))
        steps = np.zeros(len(pairs))
        for at, (pair, (difference, weight)) in enumerate(zip(pairs, differences, strict=True)):
            root = np.sqrt(weight[axis])
            rows[at, place[pair.second]], rows[at, place[pair.first]] = root, -root
            steps[at] = root * difference[axis]
        off[:, axis] = np.linalg.lstsq(rows, steps, rcond=None)[0]
    return off - _mean_of_connected(off, returns, [(place[p.first], place[p.second]) for p in pairs])


def _mean_of_connected(
    off: NDArray[np.float64], returns: NDArray[np.float64], joined: Sequence[tuple[int, int]], /
) -> NDArray[np.float64]:
    """(lines, 3) the mean of the lines that each is connected with through pairs, weighted by returns."""
    group = np.arange(len(off))
    for one, other in joined:
        group[group == group[one]] = group[other]
    mean = np.empty_like(off)
    for number in np.unique(group):
        mine = group == number
        mean[mine] = np.average(off[mine], axis=0, weights=returns[mine])
    return mean


def levelled(cloud: Cloud, shifts: Iterable[LineShift], /) -> Cloud:
    """The cloud with each flight line moved by its shift; lines without one stay."""
    move = np.zeros((int(np.iinfo(np.uint16).max) + 1, 3))
    for shift in shifts:
        move[shift.line] = shift.east_m, shift.north_m, shift.up_m
    if not move.any():
        return cloud
    east_m, north_m, up_m = move[cloud.flight_line].T
    return replace(cloud, east=cloud.east + east_m, north=cloud.north + north_m, height=cloud.height + up_m)
