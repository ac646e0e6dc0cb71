"""The pictures of the user's guide, from the sample's draft; `make pictures` makes them (`docs/make_pictures.py`)."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from affine import Affine
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from docs.over_relief import draw, drawn, features_of, side_by_side
from pipeline.features import make_features
from pipeline.files.rasters import read_heights
from pipeline.landform.contours.contours import draft_contours
from pipeline.landform.contours.generalise import generalised_surface
from pipeline.lattice.grid import Grid, Heights
from pipeline.norm.paper import ground_m
from pipeline.settings import LandformSettings

SIDE_PX = 700
LIFTED_M = 2.5
"""The base level that the guide shows beside 0 m; `report/base_level.txt` of the sample names it."""
STEPS = (
    (0.2, (245, 205, 150)),
    (0.4, (240, 160, 95)),
    (0.6, (215, 95, 75)),
    (0.8, (150, 40, 90)),
    (1.01, (70, 10, 80)),
)
"""Confidence up to which features have an ink, from pale to dark."""
TOP = (200, 0, 120)
"""Ink of a contour that encloses no other: a top or a hollow of its own."""
Ink = tuple[int, int, int]


def confidence_picture(out: Path) -> Image.Image:
    """All features of a draft over its shaded relief, each with the ink of its confidence; the ink's key below."""
    relief, transform = _relief(out)
    picture = drawn(relief, transform, gpd.GeoDataFrame({"symbol": []}, geometry=[]), side_px=SIDE_PX)
    pen, to_pixel = ImageDraw.Draw(picture), Affine.scale(SIDE_PX / max(relief.shape)) @ ~transform
    features = features_of(out)
    features = features[~features["symbol"].str.startswith("60")].sort_values("confidence")
    for geometry, confidence in zip(features.geometry, features["confidence"], strict=True):
        width = 4 if geometry.geom_type == "Point" else 2
        draw(pen, geometry, to_pixel, ink_of(confidence), width=width)
    return _with_key(picture)


def ink_of(confidence: float, /) -> Ink:
    """The ink of a confidence between 0 and 1."""
    return next(ink for up_to, ink in STEPS if confidence < up_to)


def _with_key(picture: Image.Image) -> Image.Image:
    sheet = Image.new("RGB", (picture.width, picture.height + 26), (255, 255, 255))
    sheet.paste(picture, (0, 0))
    pen, font = ImageDraw.Draw(sheet), ImageFont.load_default(14)
    pen.text((4, picture.height + 5), "confidence", fill=(0, 0, 0), font=font)
    for place, (up_to, ink) in enumerate(STEPS):
        left = 100 + 118 * place
        pen.rectangle((left, picture.height + 6, left + 26, picture.height + 20), fill=ink)
        words = f"{up_to - 0.2:.1f} to {min(up_to, 1):.1f}"
        pen.text((left + 32, picture.height + 5), words, fill=(0, 0, 0), font=font)
    return sheet


def base_level_picture(out: Path, interval_m: float) -> Image.Image:
    """Contours of a draft's bare earth at two base levels; rings that enclose no other contour stand out."""
    relief, transform = _relief(out)
    heights, grid = read_heights(out / "rasters" / "bare_earth.tif")
    pictures = {}
    for level_m in (0.0, LIFTED_M):
        contours = _contours(heights, grid, interval_m, level_m)
        picture = drawn(relief, transform, contours, side_px=SIDE_PX * 3 // 4)
        pen, to_pixel = ImageDraw.Draw(picture), Affine.scale(SIDE_PX * 3 // 4 / max(relief.shape)) @ ~transform
        for ring in _innermost(contours):
            draw(pen, ring, to_pixel, TOP, width=3)
        pictures[f"base level {level_m:+.1f} m" if level_m else "base level 0 m"] = picture
    return side_by_side(pictures)


def _contours(heights: Heights, grid: Grid, interval_m: float, level_m: float) -> gpd.GeoDataFrame:
    settings = LandformSettings()
    spacing_m = ground_m(settings.vertex_spacing_mm)
    surface, coarse = generalised_surface(
        heights,
        grid,
        interval_m=interval_m,
        base_level_m=level_m,
        smoothing_m=settings.contour_smoothing_m,
        calm_share=settings.calm_share,
        vertex_spacing_m=spacing_m,
    )
    contours = draft_contours(surface, coarse, interval_m=interval_m, base_level_m=level_m, vertex_spacing_m=spacing_m)
    return contours if len(contours) else make_features([], crs=grid.crs, symbol=[], confidence=[], evidence=[])


def _innermost(contours: gpd.GeoDataFrame) -> list[shapely.LineString]:
    """Closed contours that no other contour lies in."""
    lines = contours.geometry.to_numpy()
    rings = [line for line in lines if line.is_closed]
    starts = shapely.STRtree(shapely.points([line.coords[0][:2] for line in lines]))
    return [ring for ring in rings if len(starts.query(shapely.Polygon(ring), predicate="contains_properly")) == 0]


def _relief(out: Path) -> tuple[NDArray[np.uint8], Affine]:
    with rasterio.open(out / "rasters" / "shaded_relief.tif") as file:
        return file.read(1), file.transform
