"""Taking a survey in: from file names to the checked tile table, and samples of its points."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.errors import SurveyError
from pipeline.files.checksums import mark_of, sha256_of
from pipeline.files.las.tiles import points_bounds, read_header, sample_points
from pipeline.intake.find_tiles import tile_name
from pipeline.intake.placement import bounds_in_working, corners_in_working, placement_of
from pipeline.intake.tile_header import TileHeader
from pipeline.intake.tile_table import Tile, TileTable, make_table, refuse_empty
from pipeline.intake.working_crs import WorkingCrs, choose_working_crs
from pipeline.lattice.grid import Bounds
from pipeline.returns.cloud import Cloud

SAMPLE_TILES = 20
"""Most tiles a sample is taken from; each adds about 0.1 s."""
WHOLE_POINTS = 6000000
"""Points up to which the survey reads everything (about 2 s); above, a sample."""
SAMPLE_POINTS = 2000000
"""Points of a sample over all tiles: enough for densities to 1 %, read in about a second."""


@dataclass(frozen=True)
class Intake:
    """A survey as it was handed over.

    Attributes
    ----------
    table : TileTable
    working : WorkingCrs
    headers : tuple of TileHeader
        In the order of the table.
    bounds_of_files : mapping
        Mark of a file (`pipeline.files.checksums`) to where its points are, in its own units, as JSON.
    """

    table: TileTable
    working: WorkingCrs
    headers: tuple[TileHeader, ...]
    bounds_of_files: Mapping[str, str] = field(default_factory=dict)


def take_in(
    paths: Sequence[Path],
    /,
    *,
    given_crs: str | None = None,
    crs_overrides: bool = False,
    given_height_unit: str | None = None,
    height_unit_overrides: bool = False,
    known_checksums: Mapping[str, str] | None = None,
    known_bounds: Mapping[str, str] | None = None,
) -> Intake:
    """Headers, working CRS and checked tile table of lidar files.

    Parameters
    ----------
    given_crs, crs_overrides, given_height_unit, height_unit_overrides
        As in the area file.
    known_checksums : mapping
        Mark of a file (`pipeline.files.checksums`) to its checksum, so that it is not read for it again.
    known_bounds : mapping
        The same for where its points are, as `Intake.bounds_of_files` gives it.

    Raises
    ------
    SurveyError
        If a file is damaged or the tiles do not make one survey that can be mapped.
    """
    headers = {tile_name(path): read_header(path) for path in sorted(paths)}
    if len(headers) < len(paths):
        _refuse_shared_name(paths)
    refuse_empty({str(header.path): header.n_points for header in headers.values()})
    bounds = {name: _bounds_of(header, known_bounds or {}) for name, header in headers.items()}
    working = choose_working_crs(
        {str(header.path): (header.crs, bounds[name]) for name, header in headers.items()},
        given_crs=given_crs,
        crs_overrides=crs_overrides,
        given_height_unit=given_height_unit,
        height_unit_overrides=height_unit_overrides,
    )
    known = known_checksums or {}
    tiles = [_tile_of(name, header, bounds[name], working, known) for name, header in headers.items()]
    table = make_table(tiles, crs=working.crs)
    places = {mark_of(headers[name].path): json.dumps(bounds[name]) for name in table.names}
    return Intake(table, working, tuple(headers[name] for name in table.names), places)


def _bounds_of(header: TileHeader, known: Mapping[str, str]) -> Bounds:
    """Where the points of a tile are, in its own units."""
    told = known.get(mark_of(header.path))
    if told is None:
        return points_bounds(header)
    west, south, east, north = json.loads(told)
    return west, south, east, north


def _refuse_shared_name(paths: Sequence[Path]) -> None:
    first: dict[str, Path] = {}
    for path in sorted(paths):
        other = first.setdefault(tile_name(path), path)
        if other != path:
            raise SurveyError(
                f"{other} and {path} would both be called '{tile_name(path)}'. Leave one out or rename it."
            )


def _tile_of(name: str, header: TileHeader, bounds: Bounds, working: WorkingCrs, known: Mapping[str, str]) -> Tile:
    placement = placement_of(header.crs, working)
    return Tile(
        name=name,
        path=str(header.path),
        sha256=known.get(mark_of(header.path)) or sha256_of(header.path),
        n_points=header.n_points,
        bounds=bounds_in_working(bounds, placement),
        placement=placement,
        corners=corners_in_working(bounds, placement),
    )


@dataclass(frozen=True)
class Samples(Mapping[str, Cloud]):
    """Points of tiles by their names; a tile is read when it is asked for, and again when it is asked for again.

    Attributes
    ----------
    tiles : mapping
        Tile name to the tile, in order.
    n_points : int
        About the points of a tile that are read; a tile with no more is read whole.
    """

    tiles: Mapping[str, Tile]
    n_points: int

    def __getitem__(self, name: str) -> Cloud:
        tile = self.tiles[name]
        return sample_points(Path(tile.path), tile.placement, n_points=self.n_points)

    def __contains__(self, name: object) -> bool:
        return name in self.tiles

    def __iter__(self) -> Iterator[str]:
        return iter(self.tiles)

    def __len__(self) -> int:
        return len(self.tiles)


def read_samples(table: TileTable, /) -> Samples:
    """Points for the survey, by tile name: all of them where they are few, else stretches of some tiles."""
    if table.n_points <= WHOLE_POINTS:
        tiles, n_points = list(table.tiles), table.n_points
    else:
        # Evenly over the tiles in the order of their names, which commonly follow their places.
        step = max(1, math.ceil(len(table.tiles) / SAMPLE_TILES))
        tiles = list(table.tiles[step // 2 :: step])
        n_points = SAMPLE_POINTS // len(tiles)
    return Samples({tile.name: tile for tile in tiles}, n_points)
