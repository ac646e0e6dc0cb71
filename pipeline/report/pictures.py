"""Pictures of the ground to lay under the map: turned to magnetic north, of bounded size, inside the page."""

from __future__ import annotations

import base64
import io
import math

import numpy as np
import rasterio.features
import rasterio.warp
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from rasterio.enums import Resampling
from shapely.geometry import MultiPolygon, Polygon

from pipeline.lattice.grid import Heights
from pipeline.report.looks import Json
from pipeline.report.place import Place

QUALITY = 72
"""Quality of the WebP, 0 to 100: the grain of relief stays, at a third of a byte a pixel (our choice)."""
Colour = tuple[int, int, int]
Raster = tuple[Heights, Affine]
"""Values with NaN where unknown, and their transform from (column, row) to (east, north)."""
Classes = tuple[tuple[float, Colour], ...]
"""Upper bound of a class -> its colour; the last bound is infinite."""


def turned(values: Heights, transform: Affine, place: Place, /, *, pixel_m: float, smooth: bool = True) -> Heights:
    """Values of a raster on pixels along the page's axes, row 0 at the top; NaN where unknown.

    Parameters
    ----------
    transform : (column, row) of the values -> (east, north)
    pixel_m : side of a pixel of the result
    """
    rows, cols = math.ceil(place.height_m / pixel_m), math.ceil(place.width_m / pixel_m)
    from_map = Affine.translation(0.0, place.height_m) @ Affine.scale(pixel_m, -pixel_m)
    result = np.full((rows, cols), np.nan, np.float32)
    rasterio.warp.reproject(
        values.astype(np.float32),
        result,
        src_transform=transform,
        dst_transform=~place.map_from_ground @ from_map,
        src_crs=place.crs,
        dst_crs=place.crs,
        src_nodata=np.nan,
        dst_nodata=np.nan,
        resampling=Resampling.bilinear if smooth else Resampling.nearest,
    )
    return result


def cut_to(values: Heights, outline: MultiPolygon | Polygon, place: Place, /, *, pixel_m: float) -> Heights:
    """Values on pixels of the page's map, NaN outside the outline of the area."""
    from_map = Affine.translation(0.0, place.height_m) @ Affine.scale(pixel_m, -pixel_m)
    inside = rasterio.features.geometry_mask(
        [outline], values.shape, transform=~place.map_from_ground @ from_map, all_touched=True, invert=True
    )
    return np.where(inside, values, np.nan).astype(np.float32)


def pixel_for(place: Place, /, *, most_pixels: int, finest_m: float) -> float:
    """Side of a pixel: as fine as the raster, or as fine as so many pixels allow."""
    return max(finest_m, math.sqrt(place.width_m * place.height_m / most_pixels))


def grey_picture(shade: Heights, /) -> str:
    """Relief as a picture: 255 in full light, white where unknown."""
    return _webp(Image.fromarray(np.where(np.isfinite(shade), shade, 255).astype(np.uint8)).convert("RGB"))


def classed_picture(values: Heights, classes: Classes, /) -> str:
    """Classes of a value as colours; clear where unknown."""
    bounds = np.array([bound for bound, _ in classes[:-1]])
    colours = np.array([colour for _, colour in classes], np.uint8)
    known = np.isfinite(values)
    picture = np.zeros((*values.shape, 4), np.uint8)
    picture[..., :3] = colours[np.searchsorted(bounds, np.where(known, values, 0), side="right")]
    picture[..., 3] = np.where(known, 255, 0)
    return _png(picture)


def shaded_picture(values: Heights, most: float, colour: tuple[float, float, float], /) -> str:
    """White at 0, the colour at the most and above; white where unknown."""
    share = np.clip(np.where(np.isfinite(values), values, 0.0) / most, 0.0, 1.0)[..., None]
    return _webp(Image.fromarray(np.round(255 + share * (np.array(colour) - 255.0)).astype(np.uint8)))


def legend_of(classes: Classes, words: tuple[str, ...], /) -> list[Json]:
    """Words and colour of each class, for the page's legend."""
    return [
        [text, "#" + "".join(f"{part:02x}" for part in colour)]
        for text, (_, colour) in zip(words, classes, strict=True)
    ]


def _webp(image: Image.Image) -> str:
    target = io.BytesIO()
    # Of methods 0 to 6 this one takes half the time of the usual 4; pictures are 3 % larger (measured).
    image.save(target, "WEBP", quality=QUALITY, method=2)
    return uri_of("webp", target.getvalue())


def _png(picture: NDArray[np.uint8]) -> str:
    """Few colours in patches, which stay as they are: a PNG with a table of them."""
    target = io.BytesIO()
    # Optimized it would be a fifth smaller, a twenty-fifth of a page, in ten times the time (measured).
    Image.fromarray(picture).quantize(32, method=Image.Quantize.FASTOCTREE).save(target, "PNG")
    return uri_of("png", target.getvalue())


def uri_of(kind: str, content: bytes, /) -> str:
    """A picture of a kind (`png`, `webp`) as an address that holds it whole."""
    return f"data:image/{kind};base64,{base64.b64encode(content).decode('ascii')}"
