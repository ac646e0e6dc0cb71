"""Breaks: where along a line of steps the ground above ends, seen from the lowest last returns on both sides.

Planes are drawn through the ground above and below and continued to each other. Before the break the lowest returns
lie on the upper plane and none comes from beneath it, for ground is opaque; behind it they lie on the lower one. On a
mere slope they lie between the two.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.lattice.planes import weighted_plane
from pipeline.lattice.sampling import bilinear, row_col_between
from pipeline.outlines.simpler import places_along_line
from pipeline.rock.cliffs.falls import Floats, Steps, smooth_directions

LIP_EXCESS_M = 0.5
"""Least excess of a step that may have lost its lip, and least jump between the ground above and below, both continued
to the edge: half of the lowest cliff, because a step without its lip looks lower than it is (our choice)."""
LIP_TOLERANCE_M = 0.2
"""Returns this near the ground above, continued to the lip, lie on it: as rough as a forest floor is (our choice)."""
LIP_BENEATH_M = 1.5 * LIP_TOLERANCE_M
"""Returns so much lower than the ground above, continued, came from beneath it, so that it does not reach there."""


@dataclass(frozen=True)
class Places:
    """Places about a metre apart along lines of steps.

    Attributes
    ----------
    en : (k, 2) metres
    down : (k, 2) unit vectors down the step
    line : (k,) number of the line
    """

    en: Floats
    down: Floats
    line: NDArray[np.int64]


def places_along(lines: list[shapely.LineString], steps: Steps, grid: Grid, /) -> list[Places]:
    """The places of each line."""
    return [_along_line(line, number, steps, grid) for number, line in enumerate(lines)]


def _along_line(line: shapely.LineString, number: int, steps: Steps, grid: Grid, /) -> Places:
    en = places_along_line(shapely.get_coordinates(line), 1.0)
    at = row_col_between(en, grid)
    down = smooth_directions(np.column_stack((bilinear(steps.down_east, *at), bilinear(steps.down_north, *at))))
    return Places(en, down, np.full(len(en), number))


GROUND_M = 0.5
"""The ground above and below is known from lowest returns no higher than this above the bare earth: what the filter
kept, and what it took off close beside it. Higher returns are of crowns and roofs, which carry no terrace (our
choice)."""
ACROSS_M, ALONG_M = 5.0, 2.0
"""Half the size of the window around a place of a step, down it and along it: enough ground for a plane on both sides,
and so short along that the step does not bend in it (our choice)."""
FIRST_GAP_M, GAP_M = 1.0, 0.7
"""The planes rest on what lies farther than this from the line, at first and once the line was moved to the break: as
far as its place may be wrong (our choice)."""


def find_breaks(
    lines: list[Places], lowest: Heights, bare_earth: Heights, grid: Grid, /
) -> Iterator[tuple[Places, Windows, Break]]:
    """The places of some lines at a time, moved to the break that is seen; the cells around them; and the breaks.

    Parameters
    ----------
    lowest : (rows, cols) float32, metres
        As `pipeline.terrain.surface.lowest_last` gives it.
    bare_earth : (rows, cols) float32, metres
        Says which of the lowest returns are ground, at least at some distance from the break.
    """
    is_ground = lowest <= bare_earth + GROUND_M
    for places in _in_pieces(lines):
        window = cells_around(places, lowest, is_ground, grid, across_m=ACROSS_M, along_m=ALONG_M)
        moved = _moved(places, _find_break(window, FIRST_GAP_M).at)
        window = cells_around(moved, lowest, is_ground, grid, across_m=ACROSS_M, along_m=ALONG_M)
        yield moved, window, _find_break(window, GAP_M)


PIECE = 2048
"""Places whose windows are held in memory at a time: some 20 MB at cells of half a metre."""


def _in_pieces(lines: list[Places], /) -> list[Places]:
    """Whole lines joined, so many at a time that their windows fit into memory."""
    pieces: list[list[Places]] = []
    size = PIECE
    for one in lines:
        if size + len(one.line) > PIECE:
            pieces.append([])
            size = 0
        pieces[-1].append(one)
        size += len(one.line)
    return [
        Places(
            np.concatenate([one.en for one in some]),
            np.concatenate([one.down for one in some]),
            np.concatenate([one.line for one in some]),
        )
        for some in pieces
    ]


@dataclass(frozen=True)
class Windows:
    """The cells around k places: `across` columns of `along` cells each, one column after the other down the step.

    Attributes
    ----------
    column : (across,) metres from the place down the step, of each column
    row, col : (k, across, along) of the cells
    down, along : (k, across, along) metres from the place to the cell's centre, down the step and along it
    lowest : (k, across, along) metres above `base`; 0 where there is none
    base : (k, 1, 1) metres
    is_inside, is_seen, is_ground : (k, across, along) on the grid; with a return; with one that lies on the bare earth
    """

    column: Floats
    row: NDArray[np.int64]
    col: NDArray[np.int64]
    down: Floats
    along: Floats
    lowest: Floats
    base: Floats
    is_inside: Mask
    is_seen: Mask
    is_ground: Mask


def cells_around(
    places: Places,
    lowest: Heights,
    is_ground: Mask,
    grid: Grid,
    /,
    *,
    across_m: float,
    along_m: float,
    step_share: float = 1.0,
) -> Windows:
    """The cells in windows turned with the step, which reach `across_m` down and up it and `along_m` to each side.

    The windows are sampled at steps of `step_share` cells. At whole cells one cell in six is met twice or not at all;
    at 0.7, half the diagonal of a cell, none is missed.
    """
    column, across = (_ticks(reach_m, step_share * grid.cell_m) for reach_m in (across_m, along_m))
    (east, north), (down_e, down_n) = (axes.T[:, :, None, None] for axes in (places.en, places.down))
    x, y = column[:, None], across[None, :]
    col = np.floor((east + down_e * x - down_n * y) / grid.cell_m).astype(np.int64) - grid.west_col
    row = grid.north_row - 1 - np.floor((north + down_n * x + down_e * y) / grid.cell_m).astype(np.int64)
    is_inside = (row >= 0) & (row < grid.rows) & (col >= 0) & (col < grid.cols)
    row, col = np.clip(row, 0, grid.rows - 1), np.clip(col, 0, grid.cols - 1)
    d_east = (col + grid.west_col + 0.5) * grid.cell_m - east
    d_north = (grid.north_row - 0.5 - row) * grid.cell_m - north
    height = lowest[row, col].astype(np.float64)
    is_seen = is_inside & np.isfinite(height)
    count = np.maximum(is_seen.sum(axis=(1, 2), keepdims=True), 1)
    base = np.where(is_seen, height, 0).sum(axis=(1, 2), keepdims=True) / count
    down, along = d_east * down_e + d_north * down_n, d_north * down_e - d_east * down_n
    above_base = np.where(is_seen, height - base, 0)
    return Windows(column, row, col, down, along, above_base, base, is_inside, is_seen, is_seen & is_ground[row, col])


def _ticks(reach_m: float, step_m: float, /) -> Floats:
    """Multiples of the step up to the reach, on both sides of zero."""
    n = int(reach_m / step_m)
    ticks: Floats = np.arange(-n, n + 1) * np.float64(step_m)
    return ticks


@dataclass(frozen=True)
class Plane:
    """Planes at k places: height above the base, and rise down and along the step, (k, 1, 1) each."""

    level: Floats
    down: Floats
    along: Floats

    def at(self, window: Windows, /) -> Floats:
        """(k, across, along) height above the base at each cell."""
        return self.level + self.down * window.down + self.along * window.along


PLANE_ROUNDS, LOW_ROUNDS = 5, 2
"""How often a plane is drawn with new weights, and in how many of the first rounds only what stands out above it loses
weight (our choice)."""
PLANE_SPREAD_M = 0.12
"""Height above a plane at which a return has lost half of its weight (our choice)."""
PLANE_EASE_M2 = 0.05
"""Added to the variance of the places a plane rests on, so that few cells do not tip it (our choice). Larger, slopes
come out too gentle; smaller, cells in a row let the plane tip across the row."""


def _low_plane(window: Windows, rests_on: Mask, /) -> Plane:
    """The plane through the lower of the cells it rests on (asymmetric weights after Kraus and Pfeifer 1998)."""
    x, y, z = window.down, window.along, window.lowest
    start = rests_on.astype(np.float64)
    weight = start
    for turn in range(PLANE_ROUNDS):
        fit = weighted_plane(x, y, z, weight, over=(1, 2), ease=PLANE_EASE_M2)
        plane = Plane(*(values[:, None, None] for values in fit))
        off = (z - plane.at(window)) / PLANE_SPREAD_M
        # At first only plants lose weight; once the plane lies low, so do stray low returns, and half as fast.
        below = 0.0 if turn < LOW_ROUNDS else np.minimum(off, 0) / 2
        weight = start / (1 + np.maximum(off, 0) ** 2 + below**2)
    return plane


@dataclass(frozen=True)
class Break:
    """Where the ground above ends at k places.

    Attributes
    ----------
    at : (k,) metres down the step from the place
    jump_m : (k,) metres by which the ground above, continued to the break, is higher than the ground below
    is_sure : (k,) returns lie on the ground above up to there, and few beneath it
    n_foot, n_face : (k,) cells just below the break whose lowest return lies on the ground below, and between the two
    above : plane of the ground above
    """

    at: Floats
    jump_m: Floats
    is_sure: Mask
    n_foot: NDArray[np.int64]
    n_face: NDArray[np.int64]
    above: Plane


LEAST_GROUND = 4
"""Fewest cells with a ground return on either side: a plane needs three."""
LEAST_ON_LIP = 2
"""Fewest cells just behind the lip, in 6 m2, with a return on the ground above: a single one may be the top of a
plant."""
MOST_BENEATH_SHARE = 0.25
"""Most cells with a return from beneath for each of those; more show that the ground does not reach so far (our
choice)."""
BREAK_REACH_M, BREAK_STEP_M = 1.5, 0.25
"""How far from the line a break is looked for, and in what steps (our choice)."""
FLANK_M = 1.5
"""How much ground on either side of a break speaks for or against it (our choice)."""


def _find_break(window: Windows, gap_m: float, /) -> Break:
    """The place with the most lowest returns on the upper plane before it and on the lower one behind it."""
    x = window.column[:, None]
    rests = [window.is_ground & side for side in (x < -gap_m, x > gap_m)]
    above, below = (_low_plane(window, some) for some in rests)
    on_above, on_below, between, beneath = _counts(window, above, below)
    at = _best_break(window.column, on_above - 2 * beneath, on_below - on_above)
    from_lip = window.column - at[:, None]
    before, after = (from_lip < 0) & (from_lip > -FLANK_M), (from_lip > 0) & (from_lip < FLANK_M)
    n_above, n_beneath = (on_above * before).sum(axis=1), (beneath * before).sum(axis=1)
    jump_m = (above.level - below.level)[:, 0, 0] + (above.down - below.down)[:, 0, 0] * at
    is_sure = (n_above >= LEAST_ON_LIP) & (n_beneath <= MOST_BENEATH_SHARE * n_above)
    is_sure &= np.minimum(*(some.sum(axis=(1, 2)) for some in rests)) >= LEAST_GROUND
    is_sure &= jump_m >= LIP_EXCESS_M
    return Break(at, jump_m, is_sure, (on_below * after).sum(axis=1), (between * after).sum(axis=1), above)


def _counts(
    window: Windows, above: Plane, below: Plane, /
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """(k, across) cells of each column with a lowest return on the upper plane, on the lower, between, and beneath."""
    off_above, off_below = window.lowest - above.at(window), window.lowest - below.at(window)
    near = LIP_TOLERANCE_M
    is_above = window.is_seen & (np.abs(off_above) <= near) & (np.abs(off_above) <= np.abs(off_below))
    is_below = window.is_seen & (np.abs(off_below) <= near) & ~is_above
    is_between = window.is_seen & (off_above < -near) & (off_below > near)
    is_beneath = window.is_seen & (off_above < -LIP_BENEATH_M)
    on_above, on_below, between, beneath = (
        which.sum(axis=2, dtype=np.int64) for which in (is_above, is_below, is_between, is_beneath)
    )
    return on_above, on_below, between, beneath


def _best_break(column: Floats, before: NDArray[np.int64], after: NDArray[np.int64], /) -> Floats:
    """(k,) metres: where the sum of what speaks for a break before and after it is greatest; the middle of such places.

    `before` and `after` are what each column speaks for a break behind and before it. Returns from beneath have counted
    double against the ground above: nothing is seen through ground, while a plant may have any height.
    """
    breaks = _ticks(BREAK_REACH_M, BREAK_STEP_M)
    off = column - breaks[:, None]
    score = before @ ((off < 0) & (off > -FLANK_M)).T + after @ ((off > 0) & (off < FLANK_M)).T
    is_best = score == score.max(axis=1, keepdims=True)
    at: Floats = (is_best @ breaks) / is_best.sum(axis=1)
    return at


def _moved(places: Places, by_m: Floats, /) -> Places:
    """The places moved down to the breaks and their ways down turned square to the line, both smoothed along it."""
    en, down = places.en.copy(), places.down.copy()
    starts = np.flatnonzero(np.diff(places.line)) + 1
    for one in np.split(np.arange(len(en)), starts):
        shift = ndimage.uniform_filter1d(ndimage.median_filter(by_m[one], 5, mode="nearest"), 5, mode="nearest")
        en[one] += down[one] * shift[:, None]
        if len(one) >= 5:
            down[one] = _square_to(en[one], down[one])
    return replace(places, en=en, down=down)


def along_line(places: Floats, /) -> Floats:
    """(n, 2) unit vectors along a line given by places a metre apart, smoothed over some five of them."""
    way = np.gradient(ndimage.gaussian_filter1d(places, 2.0, axis=0, mode="nearest"), axis=0)
    unit: Floats = way / np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None]
    return unit


def _square_to(line: Floats, down: Floats, /) -> Floats:
    """Unit vectors square to a line, to the side of those given."""
    way = along_line(line)
    square = np.column_stack((way[:, 1], -way[:, 0]))
    side = np.where((square * down).sum(axis=1) < 0, -1.0, 1.0)
    turned: Floats = square * side[:, None]
    return turned
