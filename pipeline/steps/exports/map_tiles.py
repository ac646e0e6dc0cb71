"""The sheet's map as tiles for phones."""

from __future__ import annotations

import math
from pathlib import Path

from pipeline.exports.formats import FROM_SHEET
from pipeline.exports.tiles import tile_plan, tiles_of
from pipeline.files import layers, rasters
from pipeline.files.exports import tile_sets
from pipeline.steps.exports.words import told_of


def map_tiles(
    *,
    picture: Path,
    outline: Path,
    survey: Path,
    season: Path,
    borrowed: Path,
    out: Path,
    name: str,
    scale: int,
    interval_m: float,
    map_date: str,
) -> None:
    """Write tiles of the georeferenced picture of the sheet's map, in the format the name of the file stands for."""
    told = told_of(
        survey=survey,
        season=season,
        borrowed=borrowed,
        name=name,
        scale=scale,
        interval_m=interval_m,
        map_date=map_date,
    )
    area, crs = layers.read_outline(outline)
    drawn, transform = rasters.read_picture(picture)
    plan = tile_plan(area, crs=crs, pixel_m=math.sqrt(abs(transform.determinant)))
    tiles = tiles_of(drawn, transform, area, crs=crs, plan=plan)
    if out.name == FROM_SHEET["mbtiles"]:
        tile_sets.write_mbtiles(out, tiles, plan, told)
    else:
        tile_sets.write_pmtiles(out, tiles, plan, told)
