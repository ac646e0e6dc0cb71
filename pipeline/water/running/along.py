"""Filters along many channels at once: each is worked on as if it were alone, and none costs a call of its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

Counts = NDArray[np.int64]


def starts_of(lengths: Counts, /) -> Counts:
    """(k,) where each of some channels begins whose values lie one after the other."""
    return np.cumsum(lengths) - lengths


def filtered_along(
    values: NDArray[np.float64], lengths: Counts, reach: int, through: Callable[[NDArray[np.float64]], object], /
) -> NDArray[np.float64]:
    """Values taken along each channel through a filter, their first and their last carried on beyond its ends.

    Parameters
    ----------
    values : (n, ...) of all channels, one after the other
    lengths : (k,) how many of them each channel has, at least 1
    reach : how many values before and behind one decide about it
    through : takes (m, ...) values along one line and gives as many
        What it gives for one value must come of that and of the `reach` before and behind it alone.
    """
    of = np.repeat(np.arange(len(lengths)), lengths + 2 * reach)
    begin = starts_of(lengths)
    at = np.arange(len(of)) - (begin + 2 * reach * np.arange(len(lengths)))[of] - reach
    source = begin[of] + np.clip(at, 0, lengths[of] - 1)
    is_own = (at >= 0) & (at < lengths[of])
    return np.asarray(through(values[source]), np.float64)[is_own]


def runs_along(which: NDArray[np.bool_], lengths: Counts, /) -> tuple[Counts, Counts]:
    """First and last place (exclusive) of each run of chosen places; none goes on from one channel to the next."""
    before = np.concatenate(([False], which))
    after = np.concatenate((which, [False]))
    is_edge = np.zeros(len(which) + 1, np.bool_)
    is_edge[starts_of(lengths)] = True
    is_edge[-1] = True
    return np.flatnonzero(after & (~before | is_edge)), np.flatnonzero(before & (~after | is_edge))


def batches(sizes: Counts, order: Counts, /, *, most: int) -> Iterator[Counts]:
    """The numbers of channels in an order, in batches whose sizes add up to no more than `most`, or of one channel."""
    first = 0
    total = np.cumsum(sizes[order])
    while first < len(order):
        done = total[first - 1] if first else 0
        last = max(first + 1, int(np.searchsorted(total, done + most, side="right")))
        yield order[first:last]
        first = last
