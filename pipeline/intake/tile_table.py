"""The tile table: which tiles there are, where they lie, and which working blocks they touch."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Self

import numpy as np

from pipeline.errors import SurveyError
from pipeline.intake.placement import Placement
from pipeline.lattice.blocks import Block, blocks_covering, touches
from pipeline.lattice.grid import Bounds


@dataclass(frozen=True)
class Tile:
    """One tile of the survey.

    Attributes
    ----------
    name : str
        The file name without its ending; names the tile in everything that is written.
    path : str
    sha256 : str
        Checksum of the file's content, in hexadecimal.
    n_points : int
    bounds : Bounds
        west, south, east, north in metres of the working CRS; stray points may lie outside.
    placement : Placement
        How its coordinates come into the working CRS.
    corners : tuple of (east, north)
        Outline of the tile where reprojecting has turned it; empty where it is the bounds.
    """

    name: str
    path: str
    sha256: str
    n_points: int
    bounds: Bounds
    placement: Placement
    corners: tuple[tuple[float, float], ...] = ()

    @property
    def outline(self) -> tuple[tuple[float, float], ...]:
        """East and north of the four corners, anticlockwise."""
        west, south, east, north = self.bounds
        return self.corners or ((west, south), (east, south), (east, north), (west, north))

    @property
    def area_m2(self) -> float:
        """Ground within the outline, by the shoelace formula."""
        # Counted from the first corner: products of coordinates in the millions would lose the square metres.
        first = self.outline[0]
        east, north = np.array(self.outline).T - np.array(first)[:, None]
        return float(abs(np.dot(east, np.roll(north, -1)) - np.dot(north, np.roll(east, -1))) / 2)


@dataclass(frozen=True)
class TileTable:
    """All tiles of an area, sorted by name.

    Attributes
    ----------
    crs : str
        The working CRS.
    tiles : tuple of Tile
    """

    crs: str
    tiles: tuple[Tile, ...]

    @property
    def names(self) -> list[str]:
        """Names of the tiles, sorted."""
        return [tile.name for tile in self.tiles]

    @property
    def bounds(self) -> Bounds:
        """The rectangle around all tiles."""
        west, south, east, north = zip(*(tile.bounds for tile in self.tiles), strict=True)
        return min(west), min(south), max(east), max(north)

    @property
    def n_points(self) -> int:
        """Points of all tiles together."""
        return sum(tile.n_points for tile in self.tiles)

    def tile(self, name: str) -> Tile:
        """The tile of a name.

        Raises
        ------
        KeyError
            If there is none.
        """
        return self._by_name[name]

    @cached_property
    def _by_name(self) -> dict[str, Tile]:
        return {tile.name: tile for tile in self.tiles}

    def neighbours(self, name: str, *, margin_m: float = 0.0) -> list[str]:
        """Names of the other tiles that come within a margin of a tile."""
        reach = _grown(self.tile(name).bounds, margin_m)
        return [other.name for other in self.tiles if other.name != name and touches(reach, other.bounds)]

    def blocks(self, *, block_m: float) -> list[Block]:
        """The working blocks that at least one tile touches, in fixed order."""
        return blocks_covering([tile.bounds for tile in self.tiles], block_m=block_m)

    def to_json(self) -> str:
        """The table as text; the same table gives the same text."""
        return json.dumps(asdict(self), indent=1, sort_keys=True, ensure_ascii=False) + "\n"

    @classmethod
    def from_json(cls, text: str) -> Self:
        """The table that `to_json` wrote."""
        stored = json.loads(text)
        tiles = (
            Tile(
                **{
                    **row,
                    "bounds": tuple(row["bounds"]),
                    "placement": Placement(**row["placement"]),
                    "corners": tuple(map(tuple, row["corners"])),
                }
            )
            for row in stored["tiles"]
        )
        return cls(stored["crs"], tuple(tiles))


def _grown(bounds: Bounds, margin_m: float) -> Bounds:
    west, south, east, north = bounds
    return west - margin_m, south - margin_m, east + margin_m, north + margin_m


MIN_POINTS_PER_M2 = 0.05
"""Surveys with fewer points are refused: with one point every 4.5 m not even contours can be drawn (our choice)."""

MIN_AREA_M2 = 400.0
"""Surveys of less ground are refused: 20 m square is 2 mm on a sheet at 1:10 000 (our choice)."""


def make_table(tiles: Sequence[Tile], /, *, crs: str) -> TileTable:
    """The checked table of an area's tiles.

    Raises
    ------
    SurveyError
        If two tiles share a name or a content, a tile is empty, or all tiles together hold too little to map.
    """
    if not tiles:
        raise SurveyError("there are no tiles")
    _check_distinct(tiles)
    refuse_empty({tile.path: tile.n_points for tile in tiles})
    area_m2, n_points = sum(tile.area_m2 for tile in tiles), sum(tile.n_points for tile in tiles)
    where = tiles[0].path if len(tiles) == 1 else f"the {len(tiles)} tiles"
    if area_m2 < MIN_AREA_M2:
        raise SurveyError(f"{where}: {n_points:,} points on {area_m2:.0f} m2 of ground, too little to map.")
    if n_points < MIN_POINTS_PER_M2 * area_m2:
        raise SurveyError(
            f"{where}: {n_points:,} points spread over {area_m2 / 1e6:.2f} km2, {n_points / area_m2:.1g} per square "
            f"metre. Nothing can be drawn from less than {MIN_POINTS_PER_M2:g}. Is it the right file, and is "
            "its coordinate system right?"
        )
    return TileTable(crs, tuple(sorted(tiles, key=lambda tile: tile.name)))


def refuse_empty(n_points: Mapping[str, int], /) -> None:
    """Refuse files without points, given the number of points by path.

    Raises
    ------
    SurveyError
        Naming the first three.
    """
    empty = [path for path, count in n_points.items() if count == 0]
    if empty:
        raise SurveyError(f"{', '.join(empty[:3])}: holds no points. Download it again, or leave it out of 'tiles:'.")


def _check_distinct(tiles: Sequence[Tile]) -> None:
    """Refuse two tiles of one name, or one tile under two names."""
    by_name: dict[str, str] = {}
    by_content: dict[str, str] = {}
    for tile in tiles:
        # Not all file systems tell capitals apart.
        other = by_name.setdefault(tile.name.casefold(), tile.path)
        if other != tile.path:
            raise SurveyError(
                f"{other} and {tile.path} would both be called '{tile.name}'. Leave one out or rename it."
            )
        twin = by_content.setdefault(tile.sha256, tile.path)
        if twin != tile.path:
            raise SurveyError(f"{twin} and {tile.path} are the same tile twice. Leave one out of 'tiles:'.")
