"""Ground that exists only as a table or as a handful of features."""

from __future__ import annotations

import datetime
from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import box
from shapely.geometry.base import BaseGeometry

from pipeline.effort.age import Age
from pipeline.effort.costs import Terms
from pipeline.effort.estimate import Estimate
from pipeline.effort.rates.hours import TRADE_PACE, Pace
from pipeline.effort.rates.measuring import CELL_M, Cells
from pipeline.effort.rates.trade import MEASURES, ORDINARY, TASKS

CRS = "EPSG:25832"
USABLE = dict.fromkeys(TASKS, "usable") | {"not_seen": "not possible"}
GOOD = dict.fromkeys(TASKS, "good") | {"not_seen": "not possible"}
TERMS = Terms(day_h=6, day_rate=300, travel_h=1, mappers=2, days_a_week=2)


def ground(n: int = 1, *, area_km2: float = 0.0625, **a_km2: float) -> pd.DataFrame:
    """So many squares of ordinary forest, with other measures a square kilometre where they are given."""
    held = dict(ORDINARY) | a_km2
    return pd.DataFrame({name: [held[name] * area_km2] * n for name in MEASURES})


def square_cells(cols: int, rows: int) -> Cells:
    """Whole squares in a rectangle."""
    place = np.stack(np.meshgrid(np.arange(cols), np.arange(rows)), axis=-1).reshape(-1, 2).astype(np.int64)
    return Cells(place, np.full(len(place), CELL_M**2))


def estimate(measures: pd.DataFrame, cells: Cells, *, name: str = "Tarnlow", **settings: object) -> Estimate:
    """The estimate of such ground."""
    usual: dict[str, object] = {
        "scale": 10000,
        "currency": "EUR",
        "grades": USABLE,
        "pace": TRADE_PACE,
        "terms": TERMS,
        "age": Age("leaf-off", datetime.date(2025, 4, 1), datetime.date(2025, 4, 3), 2.0),
    }
    return Estimate(name=name, crs=CRS, cells=cells, measures=measures, **(usual | settings))  # type: ignore[arg-type]


def pace(factor: float) -> Pace:
    """Mappers who take so many times the trade's hours for each task."""
    return Pace(TRADE_PACE.factor * factor, TRADE_PACE.spread, TRADE_PACE.drawing, ("Made up.",))


def layer(shapes: Mapping[str, list[BaseGeometry]], status: str = "draft") -> gpd.GeoDataFrame:
    """Features of some symbols."""
    rows = [(symbol, shape) for symbol, of_it in shapes.items() for shape in of_it]
    columns = {"symbol": [symbol for symbol, _ in rows], "status": [status] * len(rows)}
    return gpd.GeoDataFrame(columns, geometry=[shape for _, shape in rows], crs=CRS)


WHOLE = box(0, 0, 1000, 500)
"""Eight squares."""
