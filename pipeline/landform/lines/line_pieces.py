"""Lines in pieces between the sides of the fixed squares, measured piece by piece and put together again.

What is said about a line (how well it was seen, how high it is) is the mean over its length. Sums are taken for each
piece in a square, so that a line cut at the border of a field and joined again is told of as if it had never been cut.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.features import SUM, make_features
from pipeline.landform.lines.squares import from_lowest, in_squares
from pipeline.lattice.grid import EastNorth

Floats = NDArray[np.float64]
NumbersAt = Callable[[EastNorth], dict[str, Floats]]
"""Numbers, by name, at places."""
SymbolsOf = Callable[[dict[str, Floats]], Sequence[str]]
"""Symbols of pieces whose mean numbers are given."""

MEASURE_STEP_M = 2.0
"""Longest stretch of a line that one place speaks for, in metres (our choice)."""
LINE, ORDER = "_line", "_order"
"""Columns that say which line a piece belongs to and the how manieth of it it is."""


def measured_pieces(
    lines: list[EastNorth],
    /,
    *,
    numbers_at: NumbersAt,
    crs: str,
    symbol: Sequence[str] | SymbolsOf,
    evidence: Sequence[str] | str = "",
    elevation_m: Sequence[float] | Floats | float = np.nan,
    angle_deg: Sequence[float] | Floats | float = np.nan,
) -> gpd.GeoDataFrame:
    """The pieces of lines, each with the sums over its length of the numbers at its places.

    Parameters
    ----------
    lines : list of n (k, 2)
    numbers_at
        Finite numbers at places; they become columns `SUM` + name, in metres times their unit.
    symbol
        One for each line, or a function that tells it from the means of the numbers over each piece.
    evidence, elevation_m, angle_deg
        One for each line or one for all.
    """
    pieces, of_line = in_squares(lines)
    places, weight_m, of_piece = _middles(pieces)
    sums = {
        name: np.bincount(of_piece, values * weight_m, minlength=len(pieces))
        for name, values in numbers_at(places).items()
    }
    length_m = np.maximum(np.bincount(of_piece, weight_m, minlength=len(pieces)), 1e-9)
    if callable(symbol):
        symbols = list(symbol({name: total / length_m for name, total in sums.items()}))
    else:
        symbols = [symbol[number] for number in of_line]
    texts = [evidence] * len(lines) if isinstance(evidence, str) else list(evidence)
    made = make_features(
        [shapely.LineString(piece) for piece in pieces],
        crs=crs,
        symbol=symbols,
        confidence=0.0,
        evidence=[texts[number] for number in of_line],
        elevation_m=np.broadcast_to(np.asarray(elevation_m, np.float64), (len(lines),))[of_line],
        angle_deg=np.broadcast_to(np.asarray(angle_deg, np.float64), (len(lines),))[of_line],
    )
    first = np.flatnonzero(np.diff(of_line, prepend=-1))
    order = np.arange(len(pieces)) - np.repeat(first, np.diff([*first, len(pieces)]))
    return made.assign(**{SUM + name: total for name, total in sums.items()}, **{LINE: of_line, ORDER: order})


def _middles(pieces: list[EastNorth]) -> tuple[EastNorth, Floats, NDArray[np.int64]]:
    """Places along all pieces, the metres each speaks for, and the piece each lies on."""
    if not pieces:
        return np.empty((0, 2)), np.empty(0), np.empty(0, np.int64)
    places = np.concatenate(pieces)
    of_piece = np.repeat(np.arange(len(pieces)), [len(piece) for piece in pieces])
    edge = np.flatnonzero(of_piece[1:] == of_piece[:-1])
    step = places[edge + 1] - places[edge]
    length_m = np.hypot(step[:, 0], step[:, 1])
    n = np.maximum(np.ceil(length_m / MEASURE_STEP_M).astype(np.int64), 1)
    row = np.repeat(np.arange(len(edge)), n)
    share = (np.arange(len(row)) - np.repeat(np.cumsum(n) - n, n) + 0.5) / n[row]
    return places[edge[row]] + share[:, None] * step[row], (length_m / n)[row], of_piece[edge[row]]


def put_together(pieces: gpd.GeoDataFrame, /, *, either_way: Sequence[str] = ()) -> gpd.GeoDataFrame:
    """One feature of each run of pieces of a line that follow each other and have one symbol; their sums added up.

    Parameters
    ----------
    pieces : as `measured_pieces` makes them, perhaps without some of the rows
    either_way
        Symbols without a direction: their lines begin at the more southern end.
    """
    if not len(pieces):
        return pieces.drop(columns=[LINE, ORDER], errors="ignore")
    table = pieces.sort_values([LINE, ORDER], kind="stable").reset_index(drop=True)
    ways = [shapely.get_coordinates(line) for line in table.geometry]
    line, order, symbol = (table[name].to_numpy() for name in (LINE, ORDER, "symbol"))
    starts = np.concatenate([[True], (np.diff(line) != 0) | (np.diff(order) != 1) | (symbol[1:] != symbol[:-1])])
    runs = [list(run) for run in np.split(np.arange(len(table)), np.flatnonzero(starts)[1:])]
    groups = _closed_runs(runs, ways, line, symbol)
    sums = [name for name in table.columns if name.startswith(SUM)]
    made = table.iloc[[group[0] for group in groups]].reset_index(drop=True)
    of_row = np.empty(len(table), np.int64)
    of_row[np.concatenate(groups)] = np.repeat(np.arange(len(groups)), [len(group) for group in groups])
    totals = {name: np.bincount(of_row, table[name].to_numpy(), minlength=len(groups)) for name in sums}
    shapes = [_chained([ways[row] for row in group]) for group in groups]
    # A stroke is straight: the vertex on the side of a square that it crosses is not needed.
    shapes = [shape[[0, -1]] if kind == "101.1" else shape for shape, kind in zip(shapes, made["symbol"], strict=True)]
    turned = [
        shape[::-1] if kind in either_way and tuple(shape[0, ::-1]) > tuple(shape[-1, ::-1]) else shape
        for shape, kind in zip(shapes, made["symbol"], strict=True)
    ]
    joined = made.assign(**totals).drop(columns=[LINE, ORDER])
    return joined.set_geometry([shapely.LineString(shape) for shape in turned], crs=pieces.crs)


def _closed_runs(
    runs: list[list[int]], ways: list[EastNorth], line: NDArray[np.int64], symbol: NDArray[np.object_]
) -> list[list[int]]:
    """The runs, the last of a ring before its first where nothing lies between them."""
    groups: list[list[int]] = []
    first_of: dict[int, int] = {}
    for run in runs:
        number = int(line[run[0]])
        if number not in first_of:
            first_of[number] = len(groups)
            groups.append(run)
            continue
        groups.append(run)
    for first in first_of.values():
        own = [n for n in range(first, len(groups)) if line[groups[n][0]] == line[groups[first][0]]]
        last = own[-1]
        if last == first:
            continue
        meets = np.array_equal(ways[groups[last][-1]][-1], ways[groups[first][0]][0])
        if meets and symbol[groups[last][-1]] == symbol[groups[first][0]]:
            groups[first] = groups[last] + groups[first]
            groups[last] = []
    return [group for group in groups if group]


def _chained(ways: list[EastNorth]) -> EastNorth:
    """One line of ways of which each begins where the one before ends; rings begin at their southernmost vertex."""
    whole = np.concatenate([ways[0], *(way[1:] for way in ways[1:])])
    return from_lowest(whole) if len(whole) > 3 and np.array_equal(whole[0], whole[-1]) else whole


NEAREST_SAME_M = 1e-6
"""Places whose distances differ by less than this, in metres, are as near as each other."""


def nearest_means(places: EastNorth, values: Floats, asked: EastNorth, /) -> Floats:
    """(n, k) values of the nearest of some places, the mean where several are as near.

    Which of several a search tree finds first depends on all the others in it.

    Parameters
    ----------
    places : (m, 2), at least one
    values : (m, k)
    asked : (n, 2)
    """
    n_nearest = min(8, len(places))
    away, number = cKDTree(places).query(asked, k=n_nearest)
    away, number = np.reshape(away, (-1, n_nearest)), np.reshape(number, (-1, n_nearest))
    is_nearest = away <= away[:, :1] + NEAREST_SAME_M
    total = (values[number] * is_nearest[:, :, None]).sum(axis=1)
    return np.asarray(total / is_nearest.sum(axis=1)[:, None])


def nearest_numbers(places: EastNorth, numbers: dict[str, Floats], /) -> NumbersAt:
    """A function that gives the numbers of the nearest of these places."""
    values = np.column_stack(list(numbers.values()))

    def at(asked: EastNorth) -> dict[str, Floats]:
        if not len(places) or not len(asked):
            return {name: np.zeros(len(asked)) for name in numbers}
        return dict(zip(numbers, nearest_means(places, values, asked).T, strict=True))

    return at


def table_of(tables: Sequence[gpd.GeoDataFrame], /) -> gpd.GeoDataFrame:
    """Pieces of several kinds in one table, their lines numbered anew."""
    passed, filled = 0, []
    for table in tables:
        if len(table):
            filled.append(table.assign(**{LINE: table[LINE] + passed}))
            passed += int(table[LINE].max()) + 1
    return gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), crs=filled[0].crs) if filled else tables[0]


def with_widths(pieces: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The pieces with their mean width as `width_m`."""
    return pieces.assign(width_m=pieces[SUM + "width"] / np.maximum(pieces.length, 1e-9))
