"""What a symbol covers on the ground when it is printed, so that gaps can be kept before anything is drawn."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import Symbol, isom

ROUND = ("dot", "spot_height", "ring", "white_ring", "ringed_dot")
"""Drawings that are circles."""
ELLIPSE, TRIANGLE, VEE = "ellipse", "triangle", "vee"
DOTS_ON_LINE = ("wall", "ruined_wall", "double_wall", "dots")
TAGGED = "tagged"


def gap_m(symbol: Symbol, /) -> float:
    """White to be kept between this symbol and others of its colour, from the norm.

    For knolls, hollows and trees the norm says only that they touch nothing; they are given what thin lines keep.
    """
    return symbol.ground_m("min_gap_mm") if symbol.has("min_gap_mm") else isom("101").ground_m("min_gap_mm")


def colour_of(symbol: Symbol, /) -> str:
    """The colour of a symbol's line or mark, without its tint."""
    return symbol.ink.partition(" ")[0]


def half_line_m(symbol: Symbol, /) -> float:
    """Half of what a line covers: of its line, or of the dots on it where they are wider."""
    line = symbol.mm("line_mm") if symbol.has("line_mm") else 0.0
    dot = symbol.mm("dot_mm") if symbol.drawing in DOTS_ON_LINE and symbol.has("dot_mm") else 0.0
    return ground_m(max(line, dot)) / 2


def line_ink(symbol: Symbol, line: BaseGeometry, /) -> BaseGeometry:
    """What a line covers, tags included; they lie to the right."""
    half_m = half_line_m(symbol)
    body = shapely.buffer(line, half_m, cap_style="flat")
    if symbol.drawing != TAGGED:
        return body
    reach_m = half_m + symbol.ground_m("tag_length_mm")
    return shapely.union(body, shapely.buffer(line, -reach_m, single_sided=True))


def point_ink(symbol: Symbol, /, *, north_deg: float, angle_deg: float) -> BaseGeometry:
    """What a point symbol covers around its place, which is (0, 0); at least what is printed.

    Parameters
    ----------
    north_deg : magnetic north, clockwise from grid north: symbols stand upright on a map with magnetic north up
    angle_deg : direction of the feature, clockwise from grid north; NaN where it has none
    """
    length_m, width_m = symbol.footprint_m
    if symbol.drawing in ROUND:
        return shapely.buffer(shapely.Point(0, 0), max(length_m, width_m) / 2, quad_segs=4)
    if symbol.drawing == ELLIPSE:
        disc = shapely.buffer(shapely.Point(0, 0), 0.5, quad_segs=4)
        # Its long axis lies along its direction; without one from east to west.
        turn_deg = 90.0 + north_deg if np.isnan(angle_deg) else angle_deg
        return affinity.rotate(affinity.scale(disc, width_m, length_m), -turn_deg, origin=(0, 0))
    if symbol.drawing == TRIANGLE:
        corners = np.array([(-0.5, -1 / 3), (0.5, -1 / 3), (0.0, 2 / 3)])
    elif symbol.drawing == VEE:
        corners = np.array([(-0.5, 0.5), (-0.1, -0.5), (0.1, -0.5), (0.5, 0.5)])
    else:
        corners = np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)])
    return affinity.rotate(shapely.Polygon(corners * (length_m, width_m)), -north_deg, origin=(0, 0))
