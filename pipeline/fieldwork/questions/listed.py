"""What to look at on foot, in order of worth."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

DEGREES = "EPSG:4326"
"""Phones and watches take latitude and longitude of WGS 84 (Topografix GPX 1.1)."""


def check_list_of_notes(places: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The places where the next notes on runnability would teach most, as rows of the check list.

    Parameters
    ----------
    places : of `pipeline.vegetation.calibration.next_notes.where_notes_teach`, the most telling first

    Returns
    -------
    GeoDataFrame in WGS 84 with points and `rank` (from 1), `look_at`, `why`, `east_m`, `north_m` (working CRS),
    `latitude_deg`, `longitude_deg`.
    """
    return _rows(
        places,
        look_at=[f"How does it run here: {between}?" for between in places["between"]],
        why=[
            f"plant-area density {density:.2f} m2/m3 lies between the two; a note here moves the limits most"
            for density in places["density"]
        ],
    )


def check_list_of_disagreements(places: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """Places where another map and lidar say different things, as rows of the check list.

    Parameters
    ----------
    places : of `pipeline.borrowed.settling.settle`

    Returns
    -------
    As `check_list_of_notes`, from north to south and west to east.
    """
    order = np.lexsort((places.geometry.x, -places.geometry.y))
    ordered = places.iloc[order]
    return _rows(ordered, look_at=list(ordered["look_at"]), why=list(ordered["why"]))


def _rows(places: gpd.GeoDataFrame, *, look_at: list[str], why: list[str]) -> gpd.GeoDataFrame:
    """Rows in the order of the places, in metres and in degrees."""
    degrees = places.geometry.to_crs(DEGREES)
    return gpd.GeoDataFrame(
        {
            "rank": np.arange(1, len(places) + 1),
            "look_at": look_at,
            "why": why,
            "east_m": places.geometry.x.round(1).to_numpy(),
            "north_m": places.geometry.y.round(1).to_numpy(),
            "latitude_deg": degrees.y.round(7).to_numpy(),
            "longitude_deg": degrees.x.round(7).to_numpy(),
        },
        geometry=degrees.to_numpy(),
        crs=DEGREES,
    )
