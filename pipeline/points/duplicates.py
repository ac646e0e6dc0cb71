"""Returns that are in the survey twice: tiles delivered with an overlap, or joined carelessly."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Mask
from pipeline.returns.cloud import Cloud

# Coordinates are compared by the millimetre: the same return read from two tiles with different offsets differs by
# rounding in the last bits, two different returns of one pulse never by so little (range resolution, arithmetic).
_PER_METRE = 1000.0

# Odd numbers that spread the values of a column over 64 bits. From memory: the fractional part of the golden ratio and
# two primes in use for hashing. Any odd numbers would do: returns of equal hash are compared in full before they count.
_SPREAD = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9)

# Returns worked on at a time: their columns stay in the processor's cache, and no copy of all columns is made.
_SLICE = 2**16


def find_duplicates(cloud: Cloud, /) -> Mask:
    """(n,) bool: returns that repeat another at the same place, time, flight line and return number.

    One of each group is left False: the one with the lowest class, intensity and scan angle, so that the order of the
    returns decides nothing.
    """
    duplicate = np.zeros(len(cloud), np.bool_)
    suspects = np.flatnonzero(_repeats(_hash(cloud)))
    if len(suspects) == 0:
        return duplicate
    few = cloud.take(suspects)
    ties = np.stack([few.scan_angle_deg, few.intensity, few.producer_class]).astype(np.float64)
    order = np.lexsort(ties)
    # Both sorts are stable: the ties hold within each group.
    keys = np.stack(_place_keys(few))
    order = order[np.lexsort(keys[:, order])]
    same = (keys[:, order[1:]] == keys[:, order[:-1]]).all(axis=0)
    duplicate[suspects[order[1:][same]]] = True
    return duplicate


def _place_keys(cloud: Cloud) -> list[NDArray[np.int64]]:
    """What two returns must share to be one."""
    return [
        np.rint(cloud.east * _PER_METRE).astype(np.int64),
        np.rint(cloud.north * _PER_METRE).astype(np.int64),
        np.rint(cloud.height * _PER_METRE).astype(np.int64),
        (cloud.gps_time + 0.0).view(np.int64),  # + 0.0 makes one zero of -0 and 0
        cloud.return_number.astype(np.int64) << 16 | cloud.flight_line.astype(np.int64),
    ]


def _hash(cloud: Cloud) -> NDArray[np.uint64]:
    """(n,) one number for each return; equal returns give equal numbers."""
    mixed = np.zeros(len(cloud), np.uint64)
    for start in range(0, len(cloud), _SLICE):
        part = mixed[start : start + _SLICE]
        for turn, key in enumerate(_place_keys(_stretch(cloud, start))):
            part ^= key.view(np.uint64)
            part *= np.uint64(_SPREAD[turn % 3])
            part ^= part >> np.uint64(29)
    return mixed


def _stretch(cloud: Cloud, start: int) -> Cloud:
    return Cloud(**{field.name: getattr(cloud, field.name)[start : start + _SLICE] for field in fields(Cloud)})


def _repeats(values: NDArray[np.uint64]) -> Mask:
    """(n,) bool: which values occur more than once."""
    in_order = np.sort(values)
    repeated = np.unique(in_order[1:][in_order[1:] == in_order[:-1]])
    if len(repeated) == 0:
        return np.zeros(len(values), np.bool_)
    place = np.minimum(np.searchsorted(repeated, values), len(repeated) - 1)
    found: Mask = repeated[place] == values
    return found
