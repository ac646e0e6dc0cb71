"""A draft of a few features in a folder, as far as an estimate reads it."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
from shapely.geometry import LineString, Point, box

from pipeline.files.layers import write_layers
from pipeline.files.rasters import write_heights
from pipeline.lattice.grid import Grid
from tests.effort.made_ground import CRS, layer

WEST_M, SOUTH_M = 565_500.0, 5_712_000.0
VERDICTS = ("runnability", "boulders", "cliffs", "landform detail", "paths", "water", "streams", "buildings")


def made_draft(folder: Path, *, n_rocks: int = 20, side_m: float = 500.0, slope_deg: float = 10.0) -> Path:
    """Write a draft of a square into a folder and an area file beside it; the area file."""
    out, bounds = folder / "out", (WEST_M, SOUTH_M, WEST_M + side_m, SOUTH_M + side_m)
    east, north = np.random.default_rng(n_rocks).uniform(5, side_m - 5, (2, n_rocks))
    rocks = [Point(WEST_M + e, SOUTH_M + n) for e, n in zip(east, north, strict=True)]
    path = LineString([(WEST_M + 10, SOUTH_M + 10), (WEST_M + side_m - 10, SOUTH_M + 50)])
    for name in ("rasters", "work", "report", "fieldwork"):
        (out / name).mkdir(parents=True)
    write_layers(out / "draft.gpkg", {"rock_point": layer({"204": rocks}), "manmade_line": layer({"505": [path]})})
    outline = gpd.GeoDataFrame(geometry=[box(*bounds)], crs=CRS)
    write_layers(out / "work" / "outline.gpkg", {"outline": outline, "covered": outline})
    grid = Grid.covering(bounds, cell_m=5.0, crs=CRS)
    write_heights(
        out / "rasters" / "slope.tif", np.full(grid.shape, slope_deg, np.float32), grid, description="degrees"
    )
    verdicts = [{"feature": kind, "grade": "usable", "reason": ""} for kind in VERDICTS]
    survey = {"verdicts": verdicts, "flight": {"days": ["2025-04-01"], "season": "leaf-off"}}
    (out / "report" / "survey.json").write_text(json.dumps(survey), encoding="utf-8")
    area = folder / "area.yaml"
    area.write_text("name: Made\ntiles: lidar/*.laz\nmap_date: 2027-04-10\n", encoding="utf-8")
    return area
