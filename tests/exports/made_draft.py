"""A small invented draft with every kind of feature that an export must carry."""

import datetime

import geopandas as gpd
import numpy as np
from shapely.geometry import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from pipeline.exports.told import Told
from tests.paths import symbols

CRS = "EPSG:25832"
EAST, NORTH = 600_000.0, 5_300_000.0
TABLE = symbols()
TOLD = Told(
    "Höllin Edge & Rigg",
    10000,
    5.0,
    datetime.date(2027, 4, 10),
    ("Airborne lidar, 8.0 pulses/m2.", "With data of others: Invented county <CC0>."),
)
EVIDENCE = "1.6 m high & 2.1 m wide, 38 returns; größer als <2 m"
HOLED = Polygon(
    [(EAST, NORTH), (EAST + 90, NORTH), (EAST + 90, NORTH + 80), (EAST, NORTH + 80)],
    [[(EAST + 30, NORTH + 30), (EAST + 50, NORTH + 30), (EAST + 50, NORTH + 50), (EAST + 30, NORTH + 50)]],
)
RING = LineString([(EAST + 10, NORTH + 10), (EAST + 60, NORTH + 12), (EAST + 35, NORTH + 60), (EAST + 10, NORTH + 10)])


def _line(up: float) -> LineString:
    return LineString([(EAST + 5, NORTH + up), (EAST + 60, NORTH + up + 9), (EAST + 120, NORTH + up)])


MARKS: dict[str, list[tuple[str, str, BaseGeometry]]] = {
    "landform_line": [("101", "draft", RING), ("102", "draft", _line(70)), ("104", "candidate", _line(85))],
    "landform_point": [("110", "draft", Point(EAST + 20, NORTH + 90))],
    "landform_area": [],
    "rock_line": [("201", "draft", _line(100)), ("202", "rejected", _line(110))],
    "rock_point": [
        ("204", "draft", Point(EAST + 30, NORTH + 95)),
        ("204", "candidate", Point(EAST + 40, NORTH + 95)),
        ("205", "rejected", Point(EAST + 50, NORTH + 95)),
    ],
    "water_line": [("304", "draft", _line(120))],
    "vegetation_area": [("408", "draft", HOLED), ("402", "candidate", box(EAST, NORTH + 85, EAST + 40, NORTH + 130))],
    "manmade_line": [("505", "imported", _line(130))],
    "technical_line": [("601", "draft", LineString([(EAST + 50, NORTH), (EAST + 55, NORTH + 150)]))],
}
"""Layer -> symbol, status and geometry of its features."""


def made_layers() -> dict[str, gpd.GeoDataFrame]:
    """The layers, with the columns of a draft."""
    return {name: _table(name, marks) for name, marks in MARKS.items()}


def _table(name: str, marks: list[tuple[str, str, BaseGeometry]]) -> gpd.GeoDataFrame:
    numbers = [number for number, _, _ in marks]
    n = len(marks)
    columns = {
        "id": [f"{name[:4]}{name[-4:]}{place:04d}" for place in range(n)],
        "symbol": numbers,
        "name": [TABLE.name_of(number) for number in numbers],
        "confidence": np.linspace(0.4, 0.9, n),
        "evidence": [EVIDENCE] * n,
        "status": [status for _, status, _ in marks],
        "origin": ["lidar"] * n,
        "elevation_m": [440.0 if number in ("101", "102") else np.nan for number in numbers],
        "height_m": np.full(n, 1.6),
        "width_m": np.full(n, np.nan),
        "angle_deg": [30.0 if name.endswith("point") else np.nan for _ in marks],
    }
    texts = {key: np.array(columns[key], object) for key in ("id", "symbol", "name", "evidence", "status", "origin")}
    return gpd.GeoDataFrame(columns | texts, geometry=[place for _, _, place in marks], crs=CRS)


def counts() -> dict[str, int]:
    """Features of each layer."""
    return {name: len(marks) for name, marks in MARKS.items()}
