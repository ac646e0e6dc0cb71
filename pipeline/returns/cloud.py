"""A point cloud in memory: the columns every later step relies on, in the working CRS and metres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled
from pipeline.lattice.grid import Bounds, EastNorth, EastNorthHeight, Mask


@dataclass(frozen=True)
class Cloud:
    """Returns of a piece of the survey, one array a column, all of length n.

    Attributes
    ----------
    east, north, height : (n,) float64, metres
        Position in the working CRS; `height` is the elevation, not the height above ground.
    intensity : (n,) uint16
    return_number, n_returns : (n,) uint8
        0 or 1 throughout where the survey does not carry them.
    gps_time : (n,) float64, seconds
        0 throughout where the survey does not carry it. Returns of one pulse share gps_time, flight_line and channel.
    flight_line : (n,) uint16
        The point source ID.
    channel : (n,) uint8
        The scanner channel, 0 to 3: beams of one laser that may fire together. 0 where the format has none.
    scan_angle_deg : (n,) float32
    producer_class : (n,) uint8
        The class the file came with.
    is_usable : (n,) bool
        False for withheld, synthetic and duplicate returns: they are labelled at the end but decide nothing.
    is_overlap : (n,) bool
    """

    east: NDArray[np.float64]
    north: NDArray[np.float64]
    height: NDArray[np.float64]
    intensity: NDArray[np.uint16]
    return_number: NDArray[np.uint8]
    n_returns: NDArray[np.uint8]
    gps_time: NDArray[np.float64]
    flight_line: NDArray[np.uint16]
    channel: NDArray[np.uint8]
    scan_angle_deg: NDArray[np.float32]
    producer_class: NDArray[np.uint8]
    is_usable: NDArray[np.bool_]
    is_overlap: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.east)

    @property
    def en(self) -> EastNorth:
        """(n, 2) east, north in metres."""
        return np.stack((self.east, self.north)).T

    @cached_property
    def enh(self) -> EastNorthHeight:
        """(n, 3) east, north, elevation in metres; laid out once, as that takes longer than many a use of it."""
        return np.stack((self.east, self.north, self.height)).T

    @property
    def is_last(self) -> Mask:
        """(n,) bool: last return of its pulse; True throughout where the survey carries no return numbers."""
        last: Mask = self.return_number >= self.n_returns
        return last

    @property
    def has_pulses(self) -> bool:
        """Whether returns can be joined to pulses by GPS time."""
        return len(self) > 0 and bool(np.ptp(self.gps_time) > 0)

    def take(self, which: Mask | NDArray[np.intp]) -> Cloud:
        """The chosen returns, by mask or index."""
        return Cloud(**{f.name: getattr(self, f.name)[which] for f in fields(self)})

    def within(self, bounds: Bounds) -> Mask:
        """(n,) bool: returns in a rectangle; its west and south edges belong to it, its east and north edges do not."""
        west, south, east, north = bounds
        inside: Mask = (self.east >= west) & (self.east < east) & (self.north >= south) & (self.north < north)
        return inside

    @classmethod
    def join(cls, clouds: Sequence[Cloud]) -> Cloud:
        """One cloud of several; an empty sequence gives an empty cloud."""
        if not clouds:
            return cls.empty()
        return cls(**{f.name: np.concatenate([getattr(c, f.name) for c in clouds]) for f in fields(cls)})

    @classmethod
    def empty(cls) -> Cloud:
        """A cloud without returns."""
        return cls.of(np.empty((0, 3)))

    @classmethod
    def of(cls, enh: EastNorthHeight, /, **columns: NDArray[np.generic]) -> Cloud:
        """A cloud of (n, 3) positions; columns not given are neutral (single returns, class 0)."""
        n = len(enh)
        neutral: dict[str, NDArray[np.generic]] = {
            "intensity": np.zeros(n, np.uint16),
            "return_number": np.ones(n, np.uint8),
            "n_returns": np.ones(n, np.uint8),
            "gps_time": np.zeros(n),
            "flight_line": np.zeros(n, np.uint16),
            "channel": np.zeros(n, np.uint8),
            "scan_angle_deg": np.zeros(n, np.float32),
            "producer_class": np.zeros(n, np.uint8),
            "is_usable": np.ones(n, np.bool_),
            "is_overlap": np.zeros(n, np.bool_),
        }
        return cls(east=enh[:, 0], north=enh[:, 1], height=enh[:, 2], **{**neutral, **columns})  # type: ignore[arg-type]


MOST_SORTED_ONE_BY_ONE = 32
"""Returns of one place that are sorted one by one; more are sorted all together, which is quicker then."""


def northward(cloud: Cloud, /) -> NDArray[np.intp]:
    """(n,) an order from south to north, then from west to east, that does not depend on the order given.

    Places are told apart by 2^-10 m and packed into one number, which sorts far quicker than five columns; returns of
    one place are then sorted by north, east, height, time, return number and channel.
    """
    if len(cloud) == 0:
        return np.empty(0, np.intp)
    north, east = _ticks(cloud.north), _ticks(cloud.east)
    order, is_tied = _by_place(north, east)
    left = _sort_few(
        order, is_tied, cloud.north, cloud.east, cloud.height, cloud.gps_time, cloud.return_number, cloud.channel
    )
    if left.any():
        shared = np.flatnonzero(left)
        which = np.sort(order[shared])
        few = cloud.take(which)
        ranks = np.lexsort(
            (few.channel, few.return_number, few.gps_time, few.height, few.east, few.north, east[which], north[which])
        )
        order[shared] = which[ranks]
    return order


def _by_place(north: NDArray[np.int64], east: NDArray[np.int64], /) -> tuple[NDArray[np.intp], Mask]:
    """(n,) an order by north, then east, and (n,) bool: the same place as the one before it in that order.

    Where a place and the number of a return fit one number, as they do in all but the largest blocks, sorting those
    takes half the time of sorting the numbers of returns by their places.
    """
    of_east, of_number = int(east.max()).bit_length(), len(east).bit_length()
    packed = north << of_east
    packed |= east
    if int(north.max()).bit_length() + of_east + of_number > 63:
        order = np.argsort(packed)
        packed = packed[order]
    else:
        packed <<= of_number
        packed |= np.arange(len(east))
        packed.sort()
        order = packed & (1 << of_number) - 1
        packed >>= of_number
    is_tied = np.zeros(len(east), np.bool_)
    np.equal(packed[1:], packed[:-1], out=is_tied[1:])
    return order, is_tied


@compiled
def _ticks(metres: NDArray[np.float64]) -> NDArray[np.int64]:
    """(n,) whole ticks of 2^-10 m above the lowest value; below 2^31 for any block."""
    ticks = np.empty(len(metres), np.int64)
    lowest = metres.min()
    for i in range(len(metres)):
        ticks[i] = np.int64(np.floor(metres[i] * 1024)) - np.int64(np.floor(lowest * 1024))
    return ticks


@compiled
def _sort_few(
    order: NDArray[np.intp],
    is_tied: Mask,
    north: NDArray[np.float64],
    east: NDArray[np.float64],
    height: NDArray[np.float64],
    time: NDArray[np.float64],
    number: NDArray[np.uint8],
    channel: NDArray[np.uint8],
) -> Mask:
    """(n,) bool: stretches of the order left to be sorted; those of few returns of one place are sorted in place."""
    n = len(order)
    left = np.zeros(n, np.bool_)
    begin = 0
    while begin < n:
        end = begin + 1
        while end < n and is_tied[end]:
            end += 1
        if end - begin > MOST_SORTED_ONE_BY_ONE:
            left[begin:end] = True
        elif end - begin > 1:
            for at in range(begin + 1, end):
                moved, to = order[at], at
                while to > begin:
                    other = order[to - 1]
                    if north[moved] != north[other]:
                        is_before = north[moved] < north[other]
                    elif east[moved] != east[other]:
                        is_before = east[moved] < east[other]
                    elif height[moved] != height[other]:
                        is_before = height[moved] < height[other]
                    elif time[moved] != time[other]:
                        is_before = time[moved] < time[other]
                    elif number[moved] != number[other]:
                        is_before = number[moved] < number[other]
                    elif channel[moved] != channel[other]:
                        is_before = channel[moved] < channel[other]
                    else:
                        is_before = moved < other
                    if not is_before:
                        break
                    order[to] = other
                    to -= 1
                order[to] = moved
        begin = end
    return left
