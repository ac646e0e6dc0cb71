"""The check list on disk: a table to print, waypoints for a phone or a watch."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as Xml

import geopandas as gpd
import pandas as pd
import pyogrio

from pipeline.errors import InputError
from pipeline.files.disk.atomic import replacing, write_text

GPX = "http://www.topografix.com/GPX/1/1"
"""Namespace of GPX 1.1."""
PARKING = re.compile(r"P\d*")
"""Names of parking places."""
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


def write_open_rows(folder: Path, rows: pd.DataFrame, /) -> None:
    """Write the list anew with the rows that are still open and all their columns, and leave the others out of the GPX.

    Parameters
    ----------
    rows : with the columns of `pipeline.fieldwork.questions.columns`; names stay as they were, so that a watch that
        was loaded before means the same places
    """
    known = rows.dropna(axis=1, how="all") if len(rows) else rows
    whole = [name for name in ("rank", "outing", "stop") if name in known]
    known = known.astype(dict.fromkeys(whole, "Int64"))
    write_text(folder / "check_list.csv", known.to_csv(index=False, lineterminator="\n"))
    gpx = folder / "check_points.gpx"
    if gpx.exists():
        write_text(gpx, _with_points(gpx.read_text(encoding="utf-8"), set(rows["name"].astype(str))))


def _with_points(text: str, names: set[str]) -> str:
    """A GPX with those waypoints and stops of routes only that have these names, and with parking places (GPX 1.1)."""
    Xml.register_namespace("", GPX)
    root = Xml.fromstring(text)
    for parent in (root, *root.iter(f"{{{GPX}}}rte")):
        for point in [*parent.findall(f"{{{GPX}}}wpt"), *parent.findall(f"{{{GPX}}}rtept")]:
            name = point.findtext(f"{{{GPX}}}name", "")
            if name not in names and not PARKING.fullmatch(name):
                parent.remove(point)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + Xml.tostring(root, encoding="unicode") + "\n"
