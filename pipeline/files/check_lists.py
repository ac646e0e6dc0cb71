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


def read_check_list(path: Path, /) -> pd.DataFrame:
    """The rows of a check list, those with a place: `rank`, `look_at`, `why`, `east_m`, `north_m`.

    Raises
    ------
    InputError
        If the table lacks one of these columns.
    """
    table = pd.read_csv(path, keep_default_na=False)
    missing = [column for column in COLUMNS if column not in table]
    if missing:
        raise InputError(f"{path}: has no column {missing[0]}; let the draft write it anew, or put the column back")
    for column in ("east_m", "north_m"):
        table[column] = pd.to_numeric(table[column], errors="coerce")
    return table[list(COLUMNS)].dropna(subset=["east_m", "north_m"])


def write_open_rows(folder: Path, rows: pd.DataFrame, /) -> None:
    """Write the list anew with the rows that are still open, all their columns, and waypoints for them.

    Parameters
    ----------
    rows : with the columns of `pipeline.files.found.listed.LISTED`; names stay as they were, so that a watch that was
        loaded before means the same places
    """
    known = rows.dropna(axis=1, how="all") if len(rows) else rows
    whole = [name for name in ("rank", "outing", "stop") if name in known]
    known = known.astype(dict.fromkeys(whole, "Int64"))
    write_text(folder / "check_list.csv", known.to_csv(index=False, lineterminator="\n"))
    points = gpd.GeoDataFrame(
        {"name": rows["name"].astype(object), "desc": (rows["look_at"] + " " + rows["why"]).astype(object)},
        geometry=gpd.points_from_xy(rows["longitude_deg"], rows["latitude_deg"]),
        crs="EPSG:4326",
    )
    with replacing(folder / "check_points.gpx") as part:
        pyogrio.write_dataframe(points, part, layer="waypoints", driver="GPX", geometry_type="Point")
