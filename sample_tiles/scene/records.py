"""Writes a scene: LAZ tiles as a survey firm would deliver them, and the truth about the place."""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import fields
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pyproj
import rasterio
from numpy.typing import NDArray
from rasterio.transform import from_origin
from shapely.geometry import LineString, Point, Polygon, box

from .fields import Metres
from .place import Place
from .pulses import Returns

CRS = "EPSG:25832"
DELIVERED = datetime.date(2026, 6, 9)


def join(parts: Iterable[Returns]) -> Returns:
    """All parts of the survey as one."""
    columns = [[getattr(part, f.name) for f in fields(Returns)] for part in parts]
    return Returns(*(np.concatenate(column) for column in zip(*columns, strict=True)))


def write_tiles(
    returns: Returns, out: Path, *, origin: tuple[float, float], size_m: float, tile_m: float, base_m: float
) -> list[Path]:
    """Write one LAZ file a tile, named by its south-west corner, and the source of each return beside it."""
    out.mkdir(parents=True, exist_ok=True)
    written = []
    count = int(np.ceil(size_m / tile_m))
    number = np.floor(returns.x / tile_m).astype(int) * count + np.floor(returns.y / tile_m).astype(int)
    for which in np.unique(number):
        col, row = divmod(int(which), count)
        corner = (origin[0] + col * tile_m, origin[1] + row * tile_m)
        path = out / f"{corner[0]:.0f}_{corner[1]:.0f}.laz"
        _write_tile(returns, np.flatnonzero(number == which), path, origin=origin, corner=corner, base_m=base_m)
        written.append(path)
    return written


def _write_tile(
    returns: Returns,
    chosen: NDArray[np.intp],
    path: Path,
    *,
    origin: tuple[float, float],
    corner: tuple[float, float],
    base_m: float,
) -> None:
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.scales, header.offsets = np.full(3, 0.01), np.array([*corner, 0.0])
    header.creation_date, header.generating_software, header.system_identifier = DELIVERED, "make_scene", "INVENTED"
    header.add_crs(pyproj.CRS.from_user_input(CRS))
    header.global_encoding.gps_time_type = laspy.header.GpsTimeType.STANDARD
    las = laspy.LasData(header)
    # A point on the edge must stay in its tile after rounding to centimetres.
    low = np.array(corner) - origin
    las.X = np.floor((returns.x[chosen] - low[0]) * 100).astype(np.int32)
    las.Y = np.floor((returns.y[chosen] - low[1]) * 100).astype(np.int32)
    las.Z = np.round((returns.z[chosen] + base_m) * 100).astype(np.int32)
    las.intensity, las.gps_time = returns.intensity[chosen], returns.gps_time[chosen]
    las.return_number, las.number_of_returns = returns.return_number[chosen], returns.n_returns[chosen]
    las.point_source_id, las.scan_angle = returns.flight_line[chosen], returns.scan_angle[chosen]
    las.classification = np.ones(len(chosen), np.uint8)
    las.write(str(path), laz_backend=laspy.LazBackend.Lazrs)


def write_sources(returns: Returns, out: Path, *, origin: tuple[float, float], size_m: float, tile_m: float) -> None:
    """Write `NAME.truth.npz` for each tile: `src`, what each return came from, in the order of the tile's records."""
    count = int(np.ceil(size_m / tile_m))
    number = np.floor(returns.x / tile_m).astype(int) * count + np.floor(returns.y / tile_m).astype(int)
    for which in np.unique(number):
        col, row = divmod(int(which), count)
        name = f"{origin[0] + col * tile_m:.0f}_{origin[1] + row * tile_m:.0f}"
        np.savez_compressed(out / f"{name}.truth.npz", src=returns.source[number == which])


def write_truth(place: Place, out: Path, *, origin: tuple[float, float], base_m: float) -> None:
    """Write the truth: `truth.gpkg` and `truth_*.tif` on cells of 0.5 m."""
    out.mkdir(parents=True, exist_ok=True)
    n = place.lattice.n
    hard = np.where(place.solids.kind == 6, place.solids.height, 0).reshape(n, 2, n, 2).max(axis=(1, 3))
    rasters = {
        "dem": place.ground.height + base_m,
        "pad": place.plants.truth,
        "open": place.openness,
        "pond": place.pond,
        "hard": hard,
    }
    for name, values in rasters.items():
        _write_raster(out / f"truth_{name}.tif", values[place.lattice.core][::-1], origin, place)
    for name, table in truth_tables(place, origin).items():
        table.to_file(out / "truth.gpkg", layer=name)


def _write_raster(path: Path, values: NDArray[np.floating], origin: tuple[float, float], place: Place) -> None:
    lattice = place.lattice
    transform = from_origin(origin[0], origin[1] + lattice.size_m, lattice.cell_m, lattice.cell_m)
    rows, cols = values.shape
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=cols,
        height=rows,
        count=1,
        dtype="float32",
        crs=CRS,
        transform=transform,
        compress="deflate",
    ) as target:
        target.write(values.astype(np.float32), 1)


def truth_tables(place: Place, origin: tuple[float, float]) -> dict[str, gpd.GeoDataFrame]:
    """What stands in the place, one table a kind, cut to the surveyed square."""
    ground, solids = place.ground, place.solids
    shift = np.array(origin)

    def points(rows: list[tuple[float, float, float, float]], size: str) -> gpd.GeoDataFrame:
        where = [Point(x + shift[0], y + shift[1]) for x, y, _, _ in rows]
        return gpd.GeoDataFrame({size: [r[2] for r in rows], "radius": [r[3] for r in rows]}, geometry=where, crs=CRS)

    def lines(rows: list[tuple[Metres, float]], size: str) -> gpd.GeoDataFrame:
        shapes = [LineString(line + shift) for line, _ in rows]
        return gpd.GeoDataFrame({size: [value for _, value in rows]}, geometry=shapes, crs=CRS)

    houses = [Polygon(outline + shift) for outline, _ in solids.buildings]
    tables = {
        "boulders": points(solids.boulders, "height")[["height", "radius", "geometry"]],
        "cliffs": lines(ground.cliffs, "height"),
        "knolls": points(ground.knolls, "height"),
        "pits": points(ground.pits, "depth"),
        "buildings": gpd.GeoDataFrame({"height": [h for _, h in solids.buildings]}, geometry=houses, crs=CRS),
        "paths": lines(place.tracks, "width"),
        "rides": lines(place.rides, "width"),
        "streams": gpd.GeoDataFrame(geometry=[LineString(line + shift) for line in ground.streams], crs=CRS),
        "banks": lines(ground.banks, "height"),
        "gullies": lines(ground.gullies, "depth"),
        "walls": lines(solids.walls, "height"),
    }
    size = place.lattice.size_m
    square = box(*shift, *(shift + size))
    return {name: table.clip(square, keep_geom_type=True).explode(ignore_index=True) for name, table in tables.items()}
