"""The frame of a backdrop that is turned to the sheet: rows along magnetic east, its corner that of the sheet's map."""

from __future__ import annotations

import math

from affine import Affine

from pipeline.sheet.page.page import Frame


def turned_frame(frame: Frame, /, *, cell_m: float) -> tuple[Affine, int, int]:
    """Where the cells of a turned picture lie: (column, row) to (east, north), and how many rows and columns.

    Parameters
    ----------
    frame : of the sheet's map
    cell_m : side of a cell in the grid of the coordinate system
    """
    mm_per_m = math.sqrt(abs(frame.map_from_ground.determinant))
    cell_mm = cell_m * mm_per_m
    from_map = Affine.translation(0.0, frame.height_mm) @ Affine.scale(cell_mm, -cell_mm)
    transform: Affine = ~frame.map_from_ground @ from_map
    return transform, math.ceil(frame.height_mm / cell_mm), math.ceil(frame.width_mm / cell_mm)


def world_file(transform: Affine, /) -> str:
    """The six lines of a world file: steps along a row and down a column, and the middle of the first cell."""
    east, north = transform @ (0.5, 0.5)
    numbers = (transform.a, transform.d, transform.b, transform.e, east, north)
    return "".join(f"{number:.10f}\n" for number in numbers)
