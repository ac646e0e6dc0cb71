"""A draft drawn over a shaded relief in plain inks, and what stands in it counted.

Not the field sheet: no paper, no frame, few inks, so that what is wrong is seen against the ground beside it.
"""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from affine import Affine
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from shapely.geometry.base import BaseGeometry

CANDIDATE = "candidate"
"""Status of what a draft proposes and its field sheet does not show."""
PAPER_GREY = 0.45
"""How far the relief is lightened towards white, so that lines read on it."""
SYMBOLS = (
    # symbols, ink, width of a line or half width of a dot in pixels
    (("600.1",), (150, 150, 150), 1),
    (("401", "403"), (225, 165, 40), 1),
    (("101", "103"), (165, 95, 30), 1),
    (("102",), (140, 75, 20), 2),
    (("104", "107", "108"), (230, 110, 0), 2),
    (("301", "302", "303", "304", "305", "306", "307", "308", "309", "310", "312"), (0, 110, 230), 2),
    (("208", "209", "210", "211", "212", "213", "214", "113"), (90, 90, 90), 1),
    (("502", "503", "504", "505", "506", "507", "508"), (200, 0, 160), 2),
    (("513", "514", "516", "521"), (110, 0, 160), 2),
    (("202",), (0, 0, 0), 2),
    (("201",), (0, 0, 0), 4),
    (("109", "110"), (190, 70, 0), 4),
    (("111", "112"), (250, 150, 60), 4),
    (("204", "205", "206", "207", "203"), (0, 0, 0), 4),
)
"""In the order they are drawn. Undergrowth and single trees are left out, as they would hide the ground."""
COUNTED = {
    "boulders (204..207)": (("204", "205", "206", "207"), "", ""),
    "boulder fields, stony ground, bare rock (208..214)": (("208", "209", "210", "211", "212", "214"), "area", "m2"),
    "cliff (201)": (("201",), "line", "m"),
    "cliff (202)": (("202",), "line", "m"),
    "earth bank (104)": (("104",), "line", "m"),
    "knolls (109, 110)": (("109", "110"), "", ""),
    "pits (111, 112)": (("111", "112"), "", ""),
    "streams and channels (304..306)": (("304", "305", "306"), "line", "m"),
    "ponds (301..303)": (("301", "302", "303"), "area", "m2"),
    "tracks and paths (503..507)": (("503", "504", "505", "506", "507"), "line", "m"),
    "rides (508)": (("508",), "line", "m"),
    "walls, fences (513..518)": (("513", "514", "515", "516", "517", "518"), "line", "m"),
    "buildings (521)": (("521",), "", ""),
    "not seen (600.1)": (("600.1",), "area", "m2"),
}


def features_of(out: Path) -> gpd.GeoDataFrame:
    """All features of the draft in the folder `out`, with their `symbol`; a variant such as 508.1 counts as 508."""
    file = out / "draft.gpkg"
    tables = [gpd.read_file(file, layer=str(name)) for name, _ in pyogrio.list_layers(file)]
    every = pd.concat([table for table in tables if "symbol" in table and len(table)], ignore_index=True)
    symbol = every["symbol"].astype(str)
    every["symbol"] = symbol.where(symbol == "600.1", symbol.str.split(".").str[0])
    return gpd.GeoDataFrame(every, geometry="geometry")


def counts(out: Path) -> dict[str, str]:
    """How many there are of each kind in a draft, and metres of line or square metres of area where that says more.

    What is drawn stands first, what is only proposed (candidates) behind a plus sign.
    """
    every = features_of(out)
    proposed = every["status"] == CANDIDATE
    told = {}
    for kind, (symbols, measure, unit) in COUNTED.items():
        of_kind = every["symbol"].isin(symbols)
        drawn_ones, candidates = every[of_kind & ~proposed], every[of_kind & proposed]
        words = counted(drawn_ones, measure, unit)
        told[kind] = f"{words} + {counted(candidates, measure, unit)}" if len(candidates) else words
    return told


def counted(table: gpd.GeoDataFrame, measure: str, unit: str) -> str:
    """How many features there are, with their length or area in `unit`, if there is one."""
    size = {"line": table.length.sum(), "area": table.area.sum()}.get(measure, 0)
    return f"{len(table)}, {size:.0f} {unit}" if unit and len(table) else f"{len(table)}"


def drawn(relief: NDArray[np.uint8], transform: Affine, features: gpd.GeoDataFrame, *, side_px: int) -> Image.Image:
    """The relief, its longer side `side_px` long, with lines, outlines of areas, and points; relief 0 is unknown.

    Candidates are drawn paler, under what is drawn.
    """
    zoom = side_px / max(relief.shape)
    light = np.where(relief > 0, relief * (1 - PAPER_GREY) + 255 * PAPER_GREY, 255).astype(np.uint8)
    size = round(relief.shape[1] * zoom), round(relief.shape[0] * zoom)
    picture = Image.fromarray(light).resize(size, Image.Resampling.BILINEAR).convert("RGB")
    pen, to_pixel = ImageDraw.Draw(picture), Affine.scale(zoom) @ ~transform
    proposed = features["status"] == CANDIDATE if "status" in features else features["symbol"] == ""
    for symbols, ink, width in SYMBOLS:
        of_kind = features["symbol"].isin(symbols)
        for geometry in features.geometry[of_kind & proposed]:
            draw(pen, geometry, to_pixel, pale(ink), width=width)
        for geometry in features.geometry[of_kind & ~proposed]:
            draw(pen, geometry, to_pixel, ink, width=width)
    return picture


def pale(ink: tuple[int, int, int]) -> tuple[int, int, int]:
    """The ink of candidates: half way from that of what is drawn to white."""
    red, green, blue = ((value + 255) // 2 for value in ink)
    return red, green, blue


def draw(
    pen: ImageDraw.ImageDraw, geometry: BaseGeometry, to_pixel: Affine, ink: tuple[int, int, int], *, width: int
) -> None:
    """One feature: lines and outlines as lines, points as dots with a white rim."""
    for part in getattr(geometry, "geoms", [geometry]):
        line = part.exterior if part.geom_type == "Polygon" else part
        places = [to_pixel @ place[:2] for place in line.coords]
        if len(places) > 1:
            pen.line(places, fill=ink, width=width)
        else:
            (x, y) = places[0]
            pen.ellipse((x - width, y - width, x + width, y + width), fill=ink, outline=(255, 255, 255))


def side_by_side(pictures: dict[str, Image.Image]) -> Image.Image:
    """Pictures in a row, each under its words."""
    gap, head = 10, 20
    width = sum(one.width for one in pictures.values()) + gap * (len(pictures) - 1)
    sheet = Image.new("RGB", (width, max(one.height for one in pictures.values()) + head), "white")
    left = 0
    for words, one in pictures.items():
        sheet.paste(one, (left, head))
        ImageDraw.Draw(sheet).text((left + 4, 2), words, fill=(0, 0, 0), font=ImageFont.load_default(14))
        left += one.width + gap
    return sheet


def save(sheet: Image.Image, file: Path, /, *, most_bytes: int = 300_000) -> None:
    """Write a PNG of few greys and the inks, smaller if it would not fit into `most_bytes`."""
    inks = [one for _, ink, _ in SYMBOLS for one in (ink, pale(ink))] + [(k, k, k) for k in range(0, 256, 15)]
    palette = Image.new("P", (1, 1))
    palette.putpalette([value for ink in inks for value in ink])
    while True:
        sheet.quantize(palette=palette, dither=Image.Dither.NONE).save(file, optimize=True)
        if file.stat().st_size <= most_bytes:
            return
        sheet = sheet.resize((sheet.width * 9 // 10, sheet.height * 9 // 10), Image.Resampling.LANCZOS)
