"""Tiles of a map in one file: MBTiles 1.3 and PMTiles 3."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path

from pmtiles.tile import Compression, TileType, zxy_to_tileid
from pmtiles.writer import Writer

from pipeline.exports.tiles import Tile, TilePlan
from pipeline.exports.told import Told
from pipeline.files.disk.atomic import replacing

E7 = 10_000_000
"""PMTiles counts degrees in ten-millionths."""


def write_mbtiles(path: Path, tiles: Iterable[Tile], plan: TilePlan, told: Told, /) -> None:
    """Write tiles as MBTiles, a database of SQLite (MBTiles 1.3)."""
    west, south, east, north = plan.bounds_deg
    metadata = {
        "name": told.title,
        "format": "png",
        "bounds": f"{west:.6f},{south:.6f},{east:.6f},{north:.6f}",
        "center": f"{(west + east) / 2:.6f},{(south + north) / 2:.6f},{plan.last_zoom}",
        "minzoom": str(plan.first_zoom),
        "maxzoom": str(plan.last_zoom),
        "type": "overlay",
        "description": told.text,
        "attribution": told.credit,
    }
    with replacing(path) as part, closing(sqlite3.connect(part)) as base, base:
        base.execute("CREATE TABLE metadata (name text, value text)")
        base.execute("CREATE TABLE tiles (zoom_level integer, tile_column integer, tile_row integer, tile_data blob)")
        base.executemany("INSERT INTO metadata VALUES (?, ?)", list(metadata.items()))
        # Rows count from the south here.
        rows = ((tile.zoom, tile.column, 2**tile.zoom - 1 - tile.row, tile.png) for tile in tiles)
        base.executemany("INSERT INTO tiles VALUES (?, ?, ?, ?)", rows)
        base.execute("CREATE UNIQUE INDEX tile_index ON tiles (zoom_level, tile_column, tile_row)")


def write_pmtiles(path: Path, tiles: Iterable[Tile], plan: TilePlan, told: Told, /) -> None:
    """Write tiles as PMTiles, in the order of their numbers there."""
    west, south, east, north = (round(degrees * E7) for degrees in plan.bounds_deg)
    header = {
        "tile_type": TileType.PNG,
        "tile_compression": Compression.NONE,
        "min_lon_e7": west,
        "min_lat_e7": south,
        "max_lon_e7": east,
        "max_lat_e7": north,
        "center_zoom": plan.last_zoom,
        "center_lon_e7": (west + east) // 2,
        "center_lat_e7": (south + north) // 2,
    }
    metadata = {"name": told.title, "description": told.text, "attribution": told.credit, "type": "overlay"}
    by_number = sorted((zxy_to_tileid(tile.zoom, tile.column, tile.row), tile.png) for tile in tiles)
    with replacing(path) as part, part.open("wb") as target:
        writer = Writer(target)
        for number, png in by_number:
            writer.write_tile(number, png)
        writer.finalize(header, metadata)
