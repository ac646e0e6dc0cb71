"""Made questions and made ground for the tests of the room."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.fieldwork.questions.table import question_table
from pipeline.fieldwork.walking.ground import Ground, Net, net_of
from pipeline.lattice.grid import Grid

CRS = "EPSG:25832"
EAST, NORTH, CELL_M = 500_000.0, 5_600_000.0, 5.0


def grid(rows: int = 40, cols: int = 40) -> Grid:
    """Squares of 5 m, the lower left corner at EAST, NORTH."""
    return Grid(CRS, round(EAST / CELL_M), round(NORTH / CELL_M) + rows, CELL_M, rows, cols)


def flat_net(
    rows: int = 40,
    cols: int = 40,
    *,
    barriers: Sequence[BaseGeometry] = (),
    water: Sequence[BaseGeometry] = (),
    ways: Sequence[tuple[int, int]] = (),
) -> Net:
    """Flat ground on which one runs freely; `ways` are rows and columns of squares with a road."""
    is_way = np.zeros((rows, cols), bool)
    for place in ways:
        is_way[place] = True
    even = np.zeros((rows, cols), np.float32)
    return net_of(Ground(even, even + 1, is_way, grid(rows, cols)), barriers, water=water)


def questions(places: Sequence[tuple[float, float]], **columns: object) -> gpd.GeoDataFrame:
    """Boulders that may not be there, at metres east and north of the corner; columns may be given anew."""
    rows = pd.DataFrame(
        {
            "id": [f"id{number}" for number in range(len(places))],
            "symbol": "204",
            "kind": "doubtful",
            "look_at": "Boulder (204) is drawn: is it there?",
            "why": "seen",
            "confidence": 0.7,
            "chance": 0.3,
            "matters": 1.0,
            "minutes": 2.0,
        }
    ).assign(**columns)
    return question_table(rows, [shapely.Point(EAST + x, NORTH + y) for x, y in places], crs=CRS)
