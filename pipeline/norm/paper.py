"""Millimetres on paper and metres on the ground."""

from __future__ import annotations

BASE_SCALE = 15_000
"""ISOM 2017-2, 2.2: every dimension of the norm is given at 1:15 000 and enlarged in proportion at larger scales."""


def ground_m(size_mm: float, /) -> float:
    """Metres on the ground that a dimension of the norm covers.

    Larger scales are strict enlargements, symbols and gaps alike, so this does not depend on the scale of the sheet.
    """
    return size_mm * BASE_SCALE / 1000


def ground_m2(size_mm2: float, /) -> float:
    """Square metres on the ground that an area of the norm covers, whatever the scale of the sheet."""
    return size_mm2 * (BASE_SCALE / 1000) ** 2


def enlargement(scale: int, /) -> float:
    """How many times larger than the norm's own 1:15 000 a sheet of this scale shows every dimension."""
    return BASE_SCALE / scale


def sheet_ground_m(size_mm: float, /, *, scale: int) -> float:
    """Metres on the ground that a length measured on a sheet of this scale covers."""
    return size_mm * scale / 1000
