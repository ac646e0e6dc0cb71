"""Slope and shaded relief of the bare earth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid, Heights

LIGHT_AZIMUTHS_DEG = (225.0, 270.0, 315.0, 360.0)
"""Directions, in degrees clockwise from north, that the four lights of the shaded relief shine from (Mark 1992)."""
LIGHT_ALTITUDE_DEG = 45.0
"""Height of the lights above the horizon, in degrees: higher lights flatten gentle ground, lower ones turn steep ground
black. Common practice, no source."""


def _neighbours(bare_earth: Heights) -> dict[tuple[int, int], Heights]:
    """The eight neighbours of every cell, by (rows south, columns east).

    Where a neighbour is unknown the opposite one is mirrored through the centre, so that a plane keeps its slope up
    to the edge of what is known; where both are unknown it is found from the two cells beside it, or the ground is
    taken as level.
    """
    padded = np.pad(bare_earth, 1, constant_values=np.nan)
    rows, cols = bare_earth.shape
    steps = [(south, east) for south in (-1, 0, 1) for east in (-1, 0, 1) if (south, east) != (0, 0)]
    seen = {(south, east): padded[1 + south : 1 + south + rows, 1 + east : 1 + east + cols] for south, east in steps}
    filled: dict[tuple[int, int], Heights] = {}
    for (south, east), neighbour in sorted(seen.items(), key=lambda item: abs(item[0][0]) + abs(item[0][1])):
        known = np.where(np.isnan(neighbour), 2 * bare_earth - seen[-south, -east], neighbour)
        # The straight neighbours come first, so a corner without an opposite is found from the two beside it.
        beside = filled[south, 0] + filled[0, east] - bare_earth if south and east else bare_earth
        filled[south, east] = np.where(np.isnan(known), beside, known)
    return filled


def gradient(bare_earth: Heights, grid: Grid, /) -> tuple[Heights, Heights]:
    """Rise to the east and to the north, metres per metre.

    Returns
    -------
    (rows, cols) float32 and (rows, cols) float32; NaN where the cell itself is unknown.

    Source
    ------
    Horn (1981), Hill shading and the reflectance map, Proceedings of the IEEE 69(1), 14-47: differences of the
    3 x 3 window, the middle row or column counted twice. Unknown neighbours are extrapolated, see `_neighbours`.
    """
    z = _neighbours(bare_earth)
    span_m = np.float32(8 * grid.cell_m)
    east = (z[-1, 1] + 2 * z[0, 1] + z[1, 1] - z[-1, -1] - 2 * z[0, -1] - z[1, -1]) / span_m
    north = (z[-1, -1] + 2 * z[-1, 0] + z[-1, 1] - z[1, -1] - 2 * z[1, 0] - z[1, 1]) / span_m
    return east.astype(np.float32), north.astype(np.float32)


def slope(bare_earth: Heights, grid: Grid, /) -> Heights:
    """Steepness of the ground in degrees, 0 level, towards 90 upright.

    Returns
    -------
    (rows, cols) float32; NaN where the bare earth is unknown.

    Source
    ------
    Horn (1981), doi:10.1109/PROC.1981.11918.
    """
    east, north = gradient(bare_earth, grid)
    return np.degrees(np.arctan(np.hypot(east, north))).astype(np.float32)


def shaded_relief(
    bare_earth: Heights, grid: Grid, /, *, azimuths_deg: Sequence[float] = LIGHT_AZIMUTHS_DEG
) -> NDArray[np.uint8]:
    """The ground lit from south-west, west, north-west and north at once, so that no ridge hides along the light.

    Parameters
    ----------
    azimuths_deg : where the lights stand instead, clockwise from grid north

    Returns
    -------
    (rows, cols) uint8, 1 dark to 255 bright; 0 where the bare earth is unknown.

    Source
    ------
    Horn (1981) for the reflectance of each light. The four lights are those of Mark (1992), Multidirectional,
    oblique-weighted, shaded-relief image of the Island of Hawaii, USGS Open-File Report 92-422; we weigh them
    equally, because with his weights north and south faces come out alike.
    """
    east, north = gradient(bare_earth, grid)
    upright = np.float32(np.sin(np.radians(LIGHT_ALTITUDE_DEG)))
    level = np.float32(np.cos(np.radians(LIGHT_ALTITUDE_DEG)))
    light = np.zeros_like(bare_earth)
    for azimuth_deg in azimuths_deg:
        to_east, to_north = np.sin(np.radians(azimuth_deg)), np.cos(np.radians(azimuth_deg))
        rise_towards = np.float32(to_east) * east + np.float32(to_north) * north
        light += np.clip(upright - level * rise_towards, 0, None)
    light /= len(azimuths_deg) * np.sqrt(1 + east**2 + north**2)
    return np.where(np.isnan(light), 0, 1 + np.round(254 * np.clip(light, 0, 1))).astype(np.uint8)
