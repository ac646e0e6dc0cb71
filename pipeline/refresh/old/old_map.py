"""An earlier map: as it was given, bit for bit, and as it is compared with a new survey."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import geopandas as gpd

Kind = Literal["run", "map"]
"""A run is a draft in which a mapper may have said something of single features; of a map every feature is drawn by a
mapper."""
TEXTS = ("id", "symbol", "name", "evidence", "status", "origin")
NUMBERS = ("confidence", "elevation_m", "height_m", "width_m", "angle_deg")
DRAFT_COLUMNS = ("id", "symbol", "name", "confidence", "evidence", "status", "origin", *NUMBERS[1:])
"""The columns of a draft, in its order."""
GROUND_COLUMN = "holds"
"""Column of `OldMap.ground` that says which groups of features a finished map shows completely."""
ROW = "row"
"""Column of `OldMap.features` that says which row of `OldMap.given` a piece is of."""


@dataclass(frozen=True)
class GivenLayer:
    """One layer of an earlier map as its file holds it.

    Attributes
    ----------
    name : of the layer in the file
    table : all columns and the geometry, untouched
    crs : what the file says of it; None where it says nothing
    is_drawing : whether it comes from a drawing file, whose layer names may say things other than symbols
    """

    name: str
    table: gpd.GeoDataFrame
    crs: str | None
    is_drawing: bool = False


@dataclass(frozen=True)
class OldMap:
    """An earlier map, understood.

    Attributes
    ----------
    features : GeoDataFrame in the working CRS of the new area
        The columns of a draft, `layer` and ROW; single geometries in two dimensions, mended where they were invalid. It
        is what comparisons use.
    given : GeoDataFrame in the working CRS
        One row for each feature of the file, numbered from 0, with the columns of a draft, `layer`, `is_kept` and all
        columns of the file. The geometry is the file's bit for bit where the file is in the working CRS.
    kind : whether a draft or a mapper's own map
    date, season : of the survey that it was made from, where it says so
    source : as the user named it
    rasters : folder of the run's rasters, where there is one
    originals : CRS -> `id` and geometry as in the file, for features that came in another CRS
    struck : features of a draft that a mapper took out or put elsewhere: where they were
    struck_ids : ids of features of the new draft that a mapper took out of the refreshed map
    ground : ground that a finished map covers, with `holds` (which layers it has); empty for a run
    notes : what was mended, split or left aside, in words
    knows_edits : of a draft, whether a copy of it as it was written is at hand, which tells what a mapper changed
    """

    features: gpd.GeoDataFrame
    given: gpd.GeoDataFrame
    kind: Kind
    source: Path
    date: str = ""
    season: str = "unknown"
    rasters: Path | None = None
    originals: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    struck: gpd.GeoDataFrame | None = None
    struck_ids: frozenset[str] = frozenset()
    ground: gpd.GeoDataFrame | None = None
    notes: tuple[str, ...] = ()
    knows_edits: bool = True
