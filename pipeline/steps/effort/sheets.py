"""Which part of each square the numbered sheets of a large area show."""

from __future__ import annotations

import datetime

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import affine_transform
from shapely.geometry import MultiPolygon, Polygon

from pipeline.effort.rates.measuring import CELL_M, Cells
from pipeline.settings import SheetSettings
from pipeline.sheet.page.north import north_of_area
from pipeline.sheet.page.page import Frame, Sheet, frame_of, part_sheets


def shares_of_sheets(
    cells: Cells,
    outline: Polygon | MultiPolygon,
    /,
    *,
    crs: str,
    map_date: datetime.date,
    scale: int,
    settings: SheetSettings,
) -> dict[str, NDArray[np.float64]]:
    """Number of each sheet to the share of every square that it shows, (n,) 0 to 1; empty where one page holds the map.

    Sheets share a strip, so shares of a square may add up to more than one.
    """
    frame = frame_of(outline, north=north_of_area(outline, crs=crs, date=map_date), scale=scale)
    on_paper = affine_transform(outline, frame.map_from_ground.to_shapely())
    parts = part_sheets(frame, on_paper, settings=settings)
    if len(parts) < 2:
        return {}
    corner = cells.place * CELL_M
    squares = shapely.box(corner[:, 0], corner[:, 1], corner[:, 0] + CELL_M, corner[:, 1] + CELL_M)
    ground = shapely.intersection(squares, outline)
    return {
        str(number): shapely.area(shapely.intersection(ground, _window(part, frame))) / cells.area_m2
        for number, part in enumerate(parts, 1)
    }


def _window(part: Sheet, frame: Frame) -> Polygon:
    """The ground that a sheet shows."""
    left, bottom = part.map_corner_mm
    right, top = left + part.window.width, bottom + part.window.height
    return affine_transform(shapely.box(left, bottom, right, top), (~frame.map_from_ground).to_shapely())
