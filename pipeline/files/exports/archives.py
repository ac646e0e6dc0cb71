"""Exports that are several files in one: a KMZ, and Shapefiles with their legend, in a ZIP archive."""

from __future__ import annotations

import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import pyogrio

from pipeline.files.disk.atomic import replacing
from pipeline.files.disk.layer_kinds import geometry_type

FIXED_TIME = (2000, 1, 1, 0, 0, 0)
"""Written as the time of each file, so that the same draft gives the same bytes on any day."""


def write_kmz(path: Path, kml: str, pictures: Mapping[str, bytes], /) -> None:
    """Write a KMZ: the document first (OGC KML 2.2, annex C), then its pictures."""
    with replacing(path) as part:
        _write_zip(part, {"doc.kml": kml.encode(), **pictures})


def write_shapefiles(path: Path, tables: Mapping[str, gpd.GeoDataFrame], legend: str, /) -> None:
    """Write a Shapefile of each layer, in UTF-8, and `legend.csv`, in one archive that GIS programs open as it is."""
    with replacing(path) as part, tempfile.TemporaryDirectory(dir=path.parent) as folder:
        for name, table in tables.items():
            pyogrio.write_dataframe(
                table,
                Path(folder) / f"{name}.shp",
                driver="ESRI Shapefile",
                geometry_type=geometry_type(name, table),
                encoding="UTF-8",
                layer_options={"DBF_DATE_LAST_UPDATE": "2000-01-01"},
            )
        files = {file.name: file.read_bytes() for file in sorted(Path(folder).iterdir())}
        _write_zip(part, {"legend.csv": legend.encode(), **files})


def _write_zip(path: Path, files: Mapping[str, bytes]) -> None:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name, FIXED_TIME), content, zipfile.ZIP_DEFLATED)
