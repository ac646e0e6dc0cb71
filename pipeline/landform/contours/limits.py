"""What the norm lets a contour do: how near another it may run, how sharply it may bend, how far off it may lie."""

from __future__ import annotations

from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom

CONTOUR_LINE_MM = isom("101").mm("line_mm")
"""Width of the line of a contour."""
CONTOURS_APART_M = ground_m(isom("101").mm("min_gap_mm") + CONTOUR_LINE_MM)
"""Least distance on the ground between the middles of two contours: the white between them and half of each line.
Nearer ones run together in print."""
SMALLEST_BEND_M = isom("101").ground_m("min_bend_mm")
"""Width of the smallest bend on the ground, from the middle of the line to the middle of the line."""
ALLOWED_SHIFT_SHARE = 0.25
"""Share of the interval by which a contour may lie off the ground to show a feature better (ISOM 101)."""
