"""The sheet's map cut into square pictures of the web's map projection, for phones.

Numbers and sizes of tiles: OGC 17-083r4, annex D.1 (WebMercatorQuad): the world is one tile of 256 pixels at zoom 0,
and each zoom doubles it.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import rasterio.features
import rasterio.warp
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from rasterio.enums import Resampling
from shapely.geometry import MultiPolygon, Polygon

from pipeline.exports.degrees import WGS84

Picture = NDArray[np.uint8]
"""(rows, cols, 3) uint8: red, green, blue."""
WEB_MERCATOR = "EPSG:3857"
HALF_WORLD_M = 20_037_508.342789244
"""Half the side of the world in the web's projection: pi times the radius of its sphere, 6378137 m."""
TILE_PX = 256
FINER = 0.8
"""The last zoom is the first whose pixels are not much larger than those of the picture: up to 1 / FINER of them."""
MOST_ZOOMS = 8
EDGE_PX = 2.0
"""What is shown beyond the outline, pixels of the picture."""
COLOURS = 256
"""Colours of a tile, few enough for a PNG with a table of them, a third as large."""


@dataclass(frozen=True)
class TilePlan:
    """Which zooms a map has, and what part of the world it covers.

    Attributes
    ----------
    bounds_deg : west, south, east, north in WGS 84
    bounds_m : the same in the web's projection
    """

    first_zoom: int
    last_zoom: int
    bounds_deg: tuple[float, float, float, float]
    bounds_m: tuple[float, float, float, float]


@dataclass(frozen=True)
class Tile:
    """One tile: columns count from the west, rows from the north; a PNG."""

    zoom: int
    column: int
    row: int
    png: bytes


def tile_plan(outline: Polygon | MultiPolygon, /, *, crs: str, pixel_m: float) -> TilePlan:
    """The zooms for a map of this outline.

    The last is as fine as the picture, whose pixels (metres on the ground) follow from the scale of the map and the
    resolution it was drawn at; the first shows all of the map in about one tile.
    """
    west, south, east, north = rasterio.warp.transform_bounds(crs, WGS84, *outline.bounds, densify_pts=21)
    bounds_m = rasterio.warp.transform_bounds(crs, WEB_MERCATOR, *outline.bounds, densify_pts=21)
    # The projection stretches the ground away from the equator.
    stretch = 1 / math.cos(math.radians((south + north) / 2))
    last = math.ceil(math.log2(_pixel_m(0) * FINER / (pixel_m * stretch)))
    side_m = max(bounds_m[2] - bounds_m[0], bounds_m[3] - bounds_m[1])
    first = math.floor(math.log2(_pixel_m(0) * TILE_PX / side_m))
    first = min(max(first, last - MOST_ZOOMS + 1), last)
    return TilePlan(first, last, (west, south, east, north), bounds_m)


def _pixel_m(zoom: int) -> float:
    return 2 * HALF_WORLD_M / TILE_PX / float(2**zoom)


def tiles_of(
    picture: Picture, transform: Affine, outline: Polygon | MultiPolygon, /, *, crs: str, plan: TilePlan
) -> Iterator[Tile]:
    """All tiles that show some of the map, zoom by zoom, north to south, west to east; clear outside the outline.

    Parameters
    ----------
    picture : the map alone, (rows, cols, 3)
    transform : (column, row) of the picture to (east, north), may be turned
    outline : the mapped area in the picture's coordinate system
    """
    pixel_m = math.sqrt(abs(transform.determinant))
    # With the outer half of the line along its edge.
    shown = outline.buffer(EDGE_PX * pixel_m)
    inside = rasterio.features.rasterize([(shown, 255)], picture.shape[:2], transform=transform, dtype="uint8")
    bands = np.concatenate([np.moveaxis(picture, 2, 0), inside[None]])
    for zoom in range(plan.first_zoom, plan.last_zoom + 1):
        first_column, last_column, first_row, last_row = _covered(plan.bounds_m, zoom)
        for row in range(first_row, last_row + 1):
            strip = _warped(bands, transform, crs, zoom, row, first_column, last_column, pixel_m)
            for column in range(first_column, last_column + 1):
                left = (column - first_column) * TILE_PX
                part = strip[:, :, left : left + TILE_PX]
                if part[3].any():
                    yield Tile(zoom, column, row, _png(part))


def _covered(bounds_m: tuple[float, float, float, float], zoom: int) -> tuple[int, int, int, int]:
    """First and last column and row of the tiles that bounds touch."""
    side = _pixel_m(zoom) * TILE_PX
    west, south, east, north = bounds_m
    return (
        math.floor((west + HALF_WORLD_M) / side),
        math.floor((east + HALF_WORLD_M) / side),
        math.floor((HALF_WORLD_M - north) / side),
        math.floor((HALF_WORLD_M - south) / side),
    )


def _warped(
    bands: NDArray[np.uint8], transform: Affine, crs: str, zoom: int, row: int, first: int, last: int, pixel_m: float
) -> NDArray[np.uint8]:
    """A strip of tiles side by side, (4, 256, n * 256)."""
    step = _pixel_m(zoom)
    place = Affine(step, 0, first * TILE_PX * step - HALF_WORLD_M, 0, -step, HALF_WORLD_M - row * TILE_PX * step)
    # White and clear where the picture does not reach.
    strip = np.full((4, TILE_PX, (last - first + 1) * TILE_PX), 255, np.uint8)
    strip[3] = 0
    rasterio.warp.reproject(
        bands,
        strip,
        src_transform=transform,
        src_crs=crs,
        dst_transform=place,
        dst_crs=WEB_MERCATOR,
        # Several pixels of the picture in one of the tile are averaged, or thin lines would break up.
        resampling=Resampling.average if step > 2 * pixel_m else Resampling.bilinear,
        init_dest_nodata=False,
    )
    return strip


def _png(bands: NDArray[np.uint8]) -> bytes:
    target = io.BytesIO()
    whole = Image.fromarray(np.ascontiguousarray(np.moveaxis(bands, 0, 2)))
    whole.quantize(COLOURS, method=Image.Quantize.FASTOCTREE).save(target, "PNG", optimize=True)
    return target.getvalue()
