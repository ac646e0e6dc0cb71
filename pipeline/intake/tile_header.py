"""What the header of a tile says."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from pipeline.intake.tile_crs import TileCrs
from pipeline.lattice.grid import Bounds


@dataclass(frozen=True)
class TileHeader:
    """What a tile says of itself, in its own units.

    Attributes
    ----------
    path : Path
    version : str
        Of the LAS format: "1.2".
    point_format : int
        0 to 10.
    n_points : int
    n_by_return : tuple of int
        First, second, ... returns.
    record_bytes : int
        Of one point.
    points_offset : int
        Where the points begin in the file.
    scales, offsets : three floats each
    bounds : Bounds
        west, south, east, north.
    lowest, highest : float
    crs : TileCrs
    time_kind : "adjusted" or "week" or "none"
        GPS time that can be dated, seconds of an unknown week, or no time.
    has_synthetic_returns : bool
        Whether return numbers were made up by software.
    is_compressed, is_copc : bool
    n_bytes : int
        Size of the file.
    system, software : str
        Who made the tile.
    written : date or None
        The day the file was made; not the day it was flown.
    """

    path: Path
    version: str
    point_format: int
    n_points: int
    n_by_return: tuple[int, ...]
    record_bytes: int
    points_offset: int
    scales: tuple[float, float, float]
    offsets: tuple[float, float, float]
    bounds: Bounds
    lowest: float
    highest: float
    crs: TileCrs
    time_kind: Literal["adjusted", "week", "none"]
    has_synthetic_returns: bool
    is_compressed: bool
    is_copc: bool
    n_bytes: int
    system: str
    software: str
    written: datetime.date | None

    @property
    def lone_number(self) -> int:
        """The return number that all points carry, where it is not the first: it tells nothing; 0 elsewhere."""
        numbers = [number for number, count in enumerate(self.n_by_return, 1) if count]
        return numbers[0] if len(numbers) == 1 and numbers[0] > 1 else 0
