"""The tile table: which tiles there are, where they lie, and which working blocks they touch."""

from __future__ import annotations

import datetime
import difflib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal, Self

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SurveyError
from pipeline.intake.coordinates import Placement, TileCrs
from pipeline.lattice.blocks import Block, blocks_covering, touches
from pipeline.lattice.grid import Bounds

MIN_POINTS_PER_M2 = 0.05
"""Density below which nothing can be drawn: one return every 4.5 m misses even the contours."""
MIN_AREA_M2 = 400.0
"""Ground below which there is nothing to map: 20 m square is 2 mm on a 1:10000 sheet."""

_ENDINGS = (".las", ".laz")
# Strays are few: more than one point in a hundred is a part of the survey that happens to lie apart.
_MOST_STRAYS = 0.01


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
        for tile in self.tiles:
            if tile.name == name:
                return tile
        raise KeyError(name)

    def neighbours(self, name: str, *, margin_m: float = 0.0) -> list[str]:
        """Names of the other tiles that come within a margin of a tile."""
        reach = _grown(self.tile(name).bounds, margin_m)
        return [other.name for other in self.tiles if other.name != name and touches(reach, other.bounds)]

    def blocks(self, *, block_m: float) -> list[Block]:
        """The working blocks that at least one tile touches, in fixed order."""
        return blocks_covering([tile.bounds for tile in self.tiles], block_m=block_m)

    def blocks_of(self, name: str, *, block_m: float, halo_m: float = 0.0) -> list[Block]:
        """The working blocks whose reach, halo included, a tile touches; only blocks that are worked on."""
        bounds = self.tile(name).bounds
        return [block for block in self.blocks(block_m=block_m) if touches(block.reach(halo_m), bounds)]

    def tiles_of(self, block: Block, *, halo_m: float = 0.0) -> list[str]:
        """Names of the tiles that a working block reads, halo included."""
        return [tile.name for tile in self.tiles if touches(block.reach(halo_m), tile.bounds)]

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


# ---------------------------------------------------------------- making the table


def tile_name(path: Path, /) -> str:
    """Name of a tile: its file name without .las, .laz or .copc.laz."""
    stem = path.stem
    return stem[:-5] if stem.lower().endswith(".copc") else stem


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


def bounds_without_strays(east: NDArray[np.float64], north: NDArray[np.float64], /, *, gap: float) -> Bounds:
    """west, south, east, north around places, without the few that lie far from all others.

    A group of at most one place in a hundred goes when an empty strip at least `gap` wide, in the units of the places,
    lies between it and the rest.
    """
    kept = np.ones(len(east), np.bool_)
    for _ in range(2):  # a second look along east, as a stray in the north may have bridged a gap
        for places in (east, north):
            kept &= _without_strays(places, kept, gap)
    return (
        float(east[kept].min()),
        float(north[kept].min()),
        float(east[kept].max()),
        float(north[kept].max()),
    )


def _without_strays(places: NDArray[np.float64], kept: NDArray[np.bool_], gap: float) -> NDArray[np.bool_]:
    """(n,) bool: places along one axis that are not in a small group beyond a gap."""
    in_order = np.sort(places[kept])
    gaps = np.flatnonzero(np.diff(in_order) >= gap)
    starts = np.concatenate(([-np.inf], in_order[gaps + 1]))
    group = np.searchsorted(starts, places, side="right") - 1
    sizes = np.bincount(group[kept], minlength=len(starts))
    is_large = sizes > _MOST_STRAYS * kept.sum()
    # Places strewn so thinly that every group is small have no strays.
    large: NDArray[np.bool_] = is_large[group] if is_large.any() else np.ones(len(places), np.bool_)
    return large


# ---------------------------------------------------------------- finding the files


def find_tiles(patterns: Sequence[str], base_folder: Path, /) -> list[Path]:
    """The lidar files that patterns, folders or file names stand for, sorted, each once.

    Parameters
    ----------
    patterns : sequence of str
        As in the area file; relative ones start from `base_folder`.

    Raises
    ------
    SurveyError
        If one of them finds nothing: says what was looked for and what is there instead.
    """
    found: dict[Path, Path] = {}
    for pattern in patterns:
        paths = _find_one(pattern, base_folder)
        if not paths:
            raise SurveyError(_nothing_found(pattern, base_folder))
        for path in paths:
            found.setdefault(path.resolve(), path)
    return sorted(found.values())


def _find_one(pattern: str, base_folder: Path) -> list[Path]:
    """Lidar files of one pattern, folder or name."""
    target = base_folder / Path(pattern).expanduser()
    if target.is_dir():
        candidates = list(target.glob("*"))
    elif target.is_file():
        return [target]
    else:
        anchor = Path(target.anchor) if target.is_absolute() else Path()
        candidates = list(anchor.glob(str(target.relative_to(anchor))))
    return [path for path in candidates if path.suffix.lower() in _ENDINGS and path.is_file()]


def _nothing_found(pattern: str, base_folder: Path) -> str:
    """What was looked for, and what is there instead."""
    target = base_folder / Path(pattern).expanduser()
    message = f"no tiles: '{pattern}' finds no .las or .laz file (looked for {target})"
    folder = target if target.is_dir() else target.parent
    while not folder.is_dir() and folder != folder.parent:
        folder = folder.parent
    missing = target.relative_to(folder).parts
    try:
        there = sorted(path.name for path in folder.iterdir() if not path.name.startswith("."))
    except OSError as error:
        return f"{message}; {folder} cannot be looked into ({error.strerror})"
    if len(missing) > 1:
        message += f"; there is no folder '{missing[0]}' in {folder}"
    near = difflib.get_close_matches(missing[0], there, n=1, cutoff=0.6) if missing else []
    lidar = [name for name in there if Path(name).suffix.lower() in _ENDINGS]
    if near:
        message += f"; perhaps '{near[0]}' is meant"
    elif lidar:
        message += f"; there is {lidar[0]}" + (f" and {len(lidar) - 1} more" if len(lidar) > 1 else "")
    elif there:
        message += f"; there is only {', '.join(there[:4])}"
    return message + ". Correct 'tiles:' in the area file."
