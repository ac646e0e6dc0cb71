"""The check list on disk: a table to print, waypoints for a phone or a watch."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio

from pipeline.errors import InputError
from pipeline.files.disk.atomic import replacing, write_text

COLUMNS = ("rank", "look_at", "why", "east_m", "north_m")
"""Columns that a reader of a check list needs."""


def write_note_places(folder: Path, rows: gpd.GeoDataFrame, /) -> None:
    """Write `note_places.csv` and `note_places.gpx` of rows in WGS 84 with `rank`, `look_at` and `why`."""
    write_text(folder / "note_places.csv", rows.drop(columns="geometry").to_csv(index=False, lineterminator="\n"))
    points = gpd.GeoDataFrame(
        {
            "name": [f"{rank} {what}" for rank, what in zip(rows["rank"], rows["look_at"], strict=True)],
            "desc": rows["why"].astype(object),
        },
        geometry=rows.geometry.to_numpy(),
        crs=rows.crs,
    )
    with replacing(folder / "note_places.gpx") as part:
        pyogrio.write_dataframe(points, part, layer="waypoints", driver="GPX", geometry_type="Point")


def read_check_list(path: Path, /) -> pd.DataFrame:
    """The rows of a check list, those with a place: `rank`, `look_at`, `why`, `east_m`, `north_m`, `name`, `outing`.

    A list without the last two, such as one of an earlier version, has its ranks for names, and no outings.

    Raises
    ------
    InputError
        If the table lacks one of these columns.
    """
    table = pd.read_csv(path, keep_default_na=False, dtype={"name": str})
    missing = [column for column in COLUMNS if column not in table]
    if missing:
        raise InputError(f"{path}: has no column {missing[0]}; let the draft write it anew, or put the column back")
    for column in ("east_m", "north_m"):
        table[column] = pd.to_numeric(table[column], errors="coerce")
    table["name"] = (table["name"] if "name" in table else table["rank"]).astype(str)
    table["outing"] = pd.to_numeric(table["outing"], errors="coerce").fillna(0).astype(int) if "outing" in table else 0
    return table[[*COLUMNS, "name", "outing"]].dropna(subset=["east_m", "north_m"])
