"""What was carried home from a walk: spots with words, tracks, and an edited copy of the draft."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import geopandas as gpd
from shapely.geometry import LineString, Point


@dataclass(frozen=True)
class Spot:
    """A place that somebody named: a waypoint, a photo, a row of the check list, a mark of the page.

    Attributes
    ----------
    texts : what stands there, the most telling first: "017 ok", "new boulder"
    place : in the working CRS; None where the file gives none
    at : when, ISO 8601; "" where nobody says
    id, status, symbol, note : as the file says in so many words; "" where it does not
    is_photo : a photo without words still says that somebody was there
    """

    texts: tuple[str, ...] = ()
    place: Point | None = None
    at: str = ""
    id: str = ""
    status: str = ""
    symbol: str = ""
    note: str = ""
    is_photo: bool = False


@dataclass(frozen=True)
class Walk:
    """All that one file holds.

    Attributes
    ----------
    source : name of the file
    sha256 : of the file
    spots : named places
    tracks : where somebody walked, in the working CRS
    edited : layers of an edited copy of the draft, in the working CRS; None where the file is none
    is_exact : whether that copy kept the coordinate system of the draft
    warnings : what could not be read, in words
    """

    source: str
    sha256: str = ""
    spots: Sequence[Spot] = ()
    tracks: Sequence[LineString] = ()
    edited: Mapping[str, gpd.GeoDataFrame] | None = None
    is_exact: bool = True
    warnings: Sequence[str] = field(default=())
