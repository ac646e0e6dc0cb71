"""The parking places of an area file, checked before the work begins."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from pyproj import Transformer

from pipeline.errors import InputError
from pipeline.files.fieldwork.places import DEGREES, read_places
from pipeline.intake.tile_table import TileTable

FARTHEST_M = 10_000.0
"""From a parking place farther than this from the tiles nobody walks: the two numbers are likely swapped (our
choice)."""
Place = tuple[float, float]


def find_parking(written: Sequence[Place] | str, folder: Path, table: TileTable, /) -> list[Place]:
    """Latitude and longitude of the parking places; none where the area file names none.

    Parameters
    ----------
    folder : of the area file, from which the path of a file of points counts

    Raises
    ------
    InputError
        If the file cannot be used, or a place is too far away to walk from.
    """
    if not written:
        return []
    places = read_places((folder / written).resolve()) if isinstance(written, str) else list(written)
    from_degrees = Transformer.from_crs(DEGREES, table.crs, always_xy=True)
    for latitude, longitude in places:
        far_m = _distance_m(from_degrees, latitude, longitude, table)
        if far_m > FARTHEST_M:
            is_swapped = _distance_m(from_degrees, longitude, latitude, table) <= FARTHEST_M
            hint = "the two are swapped: latitude comes first" if is_swapped else "latitude comes first"
            away = f"{far_m / 1000:.0f} km from the tiles" if np.isfinite(far_m) else "outside the map's projection"
            raise InputError(f"parking: {latitude:g}, {longitude:g} lies {away}; {hint}")
    return places


def _distance_m(from_degrees: Transformer, latitude: float, longitude: float, table: TileTable) -> float:
    """Distance of a place from the nearest tile; infinite where it is not on earth."""
    if abs(latitude) > 90:
        return float("inf")
    east, north = from_degrees.transform(longitude, latitude)
    west, south, right, top = np.array([tile.bounds for tile in table.tiles]).T
    aside = np.maximum(0, np.maximum(west - east, east - right))
    along = np.maximum(0, np.maximum(south - north, north - top))
    return float(np.hypot(aside, along).min())
