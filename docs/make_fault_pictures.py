"""Real tiles that went wrong, drawn before and after, over relief: `python docs/make_fault_pictures.py BEFORE AFTER`.

BEFORE and AFTER are folders that hold a draft of each tile under the name of the tile. Drawn are the draft's own shaded
relief, contours brown, cliffs and boulders black, water blue, buildings grey.
"""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
from affine import Affine
from PIL import Image, ImageDraw, ImageFont
from shapely.geometry.base import BaseGeometry

DOCS = Path(__file__).parent
TILES = ("sea_cliff", "rain_forest", "lava_cone", "thin_with_buildings", "very_thin")
SIDE_PX = 560
PAPER_GREY = 0.5
"""How far the relief is lightened towards white, so that lines read on it."""
INKS = {"landform": (150, 80, 20), "rock": (0, 0, 0), "water": (0, 110, 220), "manmade": (90, 90, 90)}


def main() -> None:
    """Write `docs/fault_TILE.png` for each tile that both folders hold a draft of."""
    folders = [Path(argument) for argument in sys.argv[1:3]]
    for tile in TILES:
        if all((folder / tile / "draft.gpkg").exists() for folder in folders):
            pair = [drawn(folder / tile) for folder in folders]
            width = sum(one.width for one in pair) + 10
            sheet = Image.new("RGB", (width, max(one.height for one in pair) + 20), "white")
            for k, (one, word) in enumerate(zip(pair, ("before", "after"), strict=True)):
                left = k * (pair[0].width + 10)
                sheet.paste(one, (left, 20))
                ImageDraw.Draw(sheet).text((left + 4, 2), word, fill=(0, 0, 0), font=ImageFont.load_default(14))
            sheet.quantize(48).save(DOCS / f"fault_{tile}.png", optimize=True)


def drawn(out: Path) -> Image.Image:
    """The relief of a draft with its lines, points and areas."""
    with rasterio.open(out / "rasters" / "shaded_relief.tif") as file:
        relief, transform = file.read(1), file.transform
    zoom = SIDE_PX / max(relief.shape)
    light = np.where(relief > 0, relief * (1 - PAPER_GREY) + 255 * PAPER_GREY, 255).astype(np.uint8)
    size = round(relief.shape[1] * zoom), round(relief.shape[0] * zoom)
    picture = Image.fromarray(light).resize(size, Image.Resampling.BILINEAR).convert("RGB")
    pen, to_pixel = ImageDraw.Draw(picture), Affine.scale(zoom) @ ~transform
    for name, _ in pyogrio.list_layers(out / "draft.gpkg"):
        ink = INKS.get(name.split("_")[0])
        table = gpd.read_file(out / "draft.gpkg", layer=name)
        for geometry, symbol in zip(table.geometry, table.get("symbol", []), strict=False):
            if ink and geometry is not None:
                draw(pen, geometry, to_pixel, ink, width=2 if name == "rock_line" or symbol == "102" else 1)
    return picture


def draw(
    pen: ImageDraw.ImageDraw, geometry: BaseGeometry, to_pixel: Affine, ink: tuple[int, int, int], *, width: int
) -> None:
    """One feature: lines and outlines as lines, points as dots."""
    for part in getattr(geometry, "geoms", [geometry]):
        line = part.exterior if part.geom_type == "Polygon" else part
        places = [to_pixel @ place[:2] for place in line.coords]
        if len(places) > 1:
            pen.line(places, fill=ink, width=width)
        else:
            (x, y) = places[0]
            pen.ellipse((x - 2, y - 2, x + 2, y + 2), fill=ink)


if __name__ == "__main__":
    main()
