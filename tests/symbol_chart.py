"""A chart of all symbols as an invented draft; `python -m tests.symbol_chart FILE.png` renders it to be looked at."""

import datetime
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
from PIL import Image
from shapely.geometry import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from pipeline.features import make_features
from pipeline.norm.symbols import Kind, SymbolTable
from pipeline.settings import SheetSettings
from pipeline.sheet.drawing import SheetDrawing, draw_sheet
from pipeline.sheet.picture import render_png
from tests.paths import symbols

CRS = "EPSG:25832"
EAST, NORTH = 600_000.0, 5_300_000.0
COLUMNS, CELL_M = 8, 100.0


def chart_entries(table: SymbolTable) -> list[tuple[str, Kind]]:
    """Every symbol with every kind of geometry it has."""
    return [(number, kind) for number, symbol in table.rows.items() for kind in symbol.kinds]


def cell_of(index: int) -> Polygon:
    """The square of the chart an entry is drawn in."""
    west, south = EAST + (index % COLUMNS) * CELL_M, NORTH + (index // COLUMNS) * CELL_M
    return box(west, south, west + CELL_M, south + CELL_M)


def shape_in(cell: Polygon, kind: Kind) -> BaseGeometry:
    """A point, a wavy line, or a disc in the middle of a cell."""
    middle = cell.centroid
    if kind == "point":
        return middle
    if kind == "area":
        return middle.buffer(0.38 * CELL_M)
    along = np.linspace(-0.42, 0.42, 31) * CELL_M
    return LineString(np.column_stack([middle.x + along, middle.y + 12 * np.sin(along / 14)]))


def chart_layers(table: SymbolTable) -> dict[str, gpd.GeoDataFrame]:
    """The chart as the layers of a draft."""
    layers: dict[str, list[tuple[str, BaseGeometry]]] = {}
    for index, (number, kind) in enumerate(chart_entries(table)):
        geometry = shape_in(cell_of(index), kind)
        layers.setdefault(table.layer_of(number, geometry), []).append((number, geometry))
    return {
        layer: make_features(
            [geometry for _, geometry in marks],
            crs=CRS,
            symbol=[number for number, _ in marks],
            confidence=1.0,
            evidence="invented",
            angle_deg=30.0,
        )
        for layer, marks in layers.items()
    }


def draw_chart(table: SymbolTable, *, scale: int) -> SheetDrawing:
    """The chart as a field sheet."""
    rows = -(-len(chart_entries(table)) // COLUMNS)
    return draw_sheet(
        chart_layers(table),
        symbols=table,
        name="All symbols",
        outline=box(EAST, NORTH, EAST + COLUMNS * CELL_M, NORTH + rows * CELL_M),
        crs=CRS,
        scale=scale,
        contour_interval_m=5,
        map_date=datetime.date(2027, 4, 10),
        survey_line="No survey: an invented chart.",
        settings=SheetSettings(),
    )


if __name__ == "__main__":
    Image.fromarray(render_png(draw_chart(symbols(), scale=10000).pdf, dpi=300)).save(Path(sys.argv[1]))
