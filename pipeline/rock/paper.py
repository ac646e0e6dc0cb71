"""From millimetres on paper to metres on the ground."""

from __future__ import annotations

ISOM_SCALE = 15000
"""Every dimension of ISOM 2017-2 is given for a map at 1:15000 (section 2.11)."""


def ground_m(paper_mm: float, /, *, scale: int) -> float:
    """Ground length of a dimension of the standard.

    ISOM 2017-2 makes larger scales by strict enlargement, symbols and gaps alike, so a symbol covers the same ground
    at 1:10000 as at 1:15000. Smaller scales are not enlarged and cover more.
    """
    return paper_mm * max(scale, ISOM_SCALE) / 1000


def ground_m2(paper_mm2: float, /, *, scale: int) -> float:
    """Ground area of a smallest area of the standard."""
    return paper_mm2 * (max(scale, ISOM_SCALE) / 1000) ** 2
