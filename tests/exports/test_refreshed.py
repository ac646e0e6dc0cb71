"""A refreshed map with its symbols: what a mapper drew is in it, whatever its geometry."""

import datetime
import warnings
from pathlib import Path

import geopandas as gpd
import pandas as pd
from shapely.geometry import LineString, MultiLineString, box

from pipeline.draft.compose import LAYERS
from pipeline.exports.told import Told
from pipeline.files import layers
from pipeline.files.earlier.written import write_map
from pipeline.steps.exports.export import styled_refreshed
from pipeline.words.language import Language
from tests.refresh.edited import CRS, EAST, NORTH, draft_of


def test_lines_of_several_parts_and_with_heights_are_shown(tmp_path: Path) -> None:
    """In single parts without heights; what the norm has no number for is left out, and GDAL warns of nothing."""
    ways = [LineString([(EAST + k, NORTH, 1), (EAST + k + 9, NORTH + 9, 2)]) for k in (10, 30)]
    drawn = draft_of([("505", MultiLineString(ways)), ("505", ways[0])])
    table = drawn["manmade_line"]
    drawn["manmade_line"] = pd.concat([table, table.iloc[[0]].assign(symbol="mine")], ignore_index=True)
    empty = table.iloc[:0]
    write_map(tmp_path / "refreshed.gpkg", {name: drawn.get(name, empty) for name in LAYERS})
    area = gpd.GeoDataFrame(geometry=[box(EAST, NORTH, EAST + 99, NORTH + 99)], crs=CRS)
    layers.write_layers(tmp_path / "outline.gpkg", {"outline": area})
    told = Told("Hollin Edge", 10_000, 5.0, datetime.date(2027, 4, 10), "Airborne lidar.", Language("en"))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        styled_refreshed(tmp_path / "refreshed.gpkg", tmp_path / "outline.gpkg", told, out=tmp_path / "styled.gpkg")
    shown = gpd.read_file(tmp_path / "styled.gpkg", layer="manmade_line")
    assert list(shown.geom_type) == ["LineString"] * 3
    assert not shown.has_z.any()
    assert set(shown["symbol"]) == {"505"}
