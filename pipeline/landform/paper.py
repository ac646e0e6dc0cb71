"""Paper millimetres of the standard as metres on the ground."""

from __future__ import annotations

BASE_SCALE = 15_000
"""ISOM 2017-2 defines every dimension at 1:15 000; larger scales are strict enlargements (1:10 000 is 150 %)."""


def ground_m(size_mm: float, /) -> float:
    """Ground metres that a symbol dimension of the standard covers, the same at every scale of the sheet."""
    return size_mm * BASE_SCALE / 1000


def sheet_ground_m(size_mm: float, /, *, scale: int) -> float:
    """Ground metres that a length measured on a sheet of this scale covers."""
    return size_mm * scale / 1000
