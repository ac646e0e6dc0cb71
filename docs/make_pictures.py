"""The pictures of the README, from the sample's draft: `make pictures`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pypdfium2
import rasterio
from PIL import Image
from rasterio.warp import Resampling, reproject

from pipeline.files import layers
from pipeline.files.symbols import read_symbols
from pipeline.plan import make_plan
from pipeline.sheet.drawing import draw_sheet
from pipeline.sheet.picture import sheet_pictures

PROJECT = Path(__file__).parent.parent
SAMPLE = PROJECT / "sample_tiles"
SHEET_DPI, MAP_DPI = 130, 500
MAP_WINDOW = (0.09, 0.17, 0.31, 0.48)
"""Left, top, right, bottom of the map on the sample's sheet, as shares of the page."""
PAPER_GREY = 0.55
"""How far the relief is lightened towards white, so that brown reads on it."""


def main() -> None:
    """Write `docs/field_sheet.png`, `docs/map.png` and `docs/relief.png`."""
    with pypdfium2.PdfDocument(SAMPLE / "out" / "sheets" / "field_sheet.pdf") as document:
        for name, dpi in (("field_sheet", SHEET_DPI), ("map", MAP_DPI)):
            pixels = document[0].render(scale=dpi / 72, rev_byteorder=True).to_numpy()[..., :3]
            picture = Image.fromarray(pixels)
            if name == "map":
                left, top, right, bottom = MAP_WINDOW
                width, height = picture.size
                picture = picture.crop(
                    (round(left * width), round(top * height), round(right * width), round(bottom * height))
                )
            save(picture, name)
    save(brown_over_relief(SAMPLE / "area.yaml"), "relief")


def brown_over_relief(area_path: Path) -> Image.Image:
    """Contours and landforms of a draft over its shaded relief, as the sheet draws them at its scale."""
    plan = make_plan(area_path)
    outline, crs = layers.read_outline(plan.out / "work" / "outline.gpkg")
    brown = [name for name in layers.count_features(plan.out / "draft.gpkg") if name.startswith("landform")]
    sheet_settings = plan.area.expert.sheet.model_copy(update={"resolution_dpi": MAP_DPI})
    drawing = draw_sheet(
        {name: layers.read_layer(plan.out / "draft.gpkg", name) for name in brown},
        symbols=read_symbols(PROJECT / "config" / "symbols.csv"),
        name=plan.area.name,
        outline=outline,
        crs=crs,
        scale=plan.area.scale,
        contour_interval_m=plan.area.contour_interval_m,
        map_date=plan.area.map_date,
        survey_line="",
        settings=sheet_settings,
    )
    _, lines, transform = sheet_pictures(drawing, settings=sheet_settings)
    relief = np.full(lines.shape[:2], 255, np.uint8)
    with rasterio.open(plan.out / "rasters" / "shaded_relief.tif") as source:
        reproject(
            rasterio.band(source, 1),
            relief,
            dst_transform=transform,
            dst_crs=crs,
            dst_nodata=255,
            resampling=Resampling.cubic,
        )
    paper = 255 - (255 - relief.astype(np.float32)) * PAPER_GREY
    return Image.fromarray((lines[..., :3] * (paper[..., None] / 255)).astype(np.uint8))


def save(picture: Image.Image, name: str) -> None:
    """Few colours, so that the repository stays small."""
    picture.quantize(96).save(PROJECT / "docs" / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main()
