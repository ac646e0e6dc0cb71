"""The check list on disk: a table to print, waypoints for a phone or a watch."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pyogrio

from pipeline.files.disk.atomic import replacing, write_text


def write_check_list(folder: Path, rows: gpd.GeoDataFrame, /) -> None:
    """Write `check_list.csv` and `check_points.gpx` of rows in WGS 84 with `rank`, `look_at` and `why`."""
    write_text(folder / "check_list.csv", rows.drop(columns="geometry").to_csv(index=False, lineterminator="\n"))
    points = gpd.GeoDataFrame(
        {
            "name": [f"{rank} {what}" for rank, what in zip(rows["rank"], rows["look_at"], strict=True)],
            "desc": rows["why"].astype(object),
        },
        geometry=rows.geometry.to_numpy(),
        crs=rows.crs,
    )
    with replacing(folder / "check_points.gpx") as part:
        pyogrio.write_dataframe(points, part, layer="waypoints", driver="GPX", geometry_type="Point")
