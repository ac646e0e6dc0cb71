"""The pictures of the README and the user's guide, from the sample's draft: `make pictures`."""

from __future__ import annotations

import datetime
from pathlib import Path

import geopandas as gpd
import numpy as np
import pypdfium2
import rasterio
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from rasterio.warp import Resampling, reproject
from shapely.geometry import MultiPolygon, Polygon

from docs.guide_pictures import base_level_picture, confidence_picture
from docs.page_picture import page_picture
from pipeline.files import layers
from pipeline.norm.symbols import norm_table
from pipeline.plan.plan import Plan, make_plan
from pipeline.settings import SheetSettings
from pipeline.sheet.drawing import draw_sheet
from pipeline.sheet.picture import sheet_pictures

PROJECT = Path(__file__).parent.parent
SAMPLE = PROJECT / "sample_tiles"
SHEET_DPI, MAP_DPI = 130, 500
PAGE_COLOURS = 255
"""Colours of the page's picture: with fewer, its purple of few pixels turns brown."""
PAPER_GREY = 0.55
"""How far the relief is lightened towards white, so that brown reads on it."""


def main() -> None:
    """Write `docs/field_sheet.png`, `docs/map.png`, `docs/relief.png` and the pictures of `docs/guide/`."""
    with pypdfium2.PdfDocument(SAMPLE / "out" / "sheets" / "field_sheet.pdf") as document:
        save(
            Image.fromarray(document[0].render(scale=SHEET_DPI / 72, rev_byteorder=True).to_numpy()[..., :3]),
            "field_sheet",
        )
    plan = make_plan(SAMPLE / "area.yaml")
    every = list(layers.count_features(plan.out / "draft.gpkg"))
    save(Image.fromarray(map_of(plan, every)[0]), "map")
    save(brown_over_relief(plan), "relief")
    save(confidence_picture(plan.out), "guide/confidence")
    save(page_picture(plan.out / "report" / "index.html"), "guide/page", colours=PAGE_COLOURS)
    save(base_level_picture(plan.out, plan.area.contour_interval_m), "guide/base_level")


def map_of(plan: Plan, names: list[str]) -> tuple[NDArray[np.uint8], Affine, str]:
    """The map alone with these layers of the draft, as the sheet draws it; its transform and CRS."""
    outline, crs = layers.read_outline(plan.out / "work" / "outline.gpkg")
    return draw_map(
        {name: layers.read_layer(plan.out / "draft.gpkg", name) for name in names},
        outline,
        crs,
        name=plan.area.name,
        scale=plan.area.scale,
        interval_m=plan.area.contour_interval_m,
        map_date=plan.area.map_date,
        settings=plan.area.expert.sheet.model_copy(update={"resolution_dpi": MAP_DPI}),
    )


def draw_map(
    draft: dict[str, gpd.GeoDataFrame],
    outline: Polygon | MultiPolygon,
    crs: str,
    /,
    *,
    name: str,
    scale: int,
    interval_m: float,
    map_date: datetime.date,
    settings: SheetSettings,
) -> tuple[NDArray[np.uint8], Affine, str]:
    """The map alone with the layers of a draft, as the sheet draws it; its transform and CRS."""
    drawing = draw_sheet(
        draft,
        symbols=norm_table(),
        name=name,
        outline=outline,
        crs=crs,
        scale=scale,
        contour_interval_m=interval_m,
        map_date=map_date,
        survey_line="",
        settings=settings,
    )
    _, picture, transform = sheet_pictures(drawing, settings=settings)
    return picture[..., :3], transform, crs


def brown_over_relief(plan: Plan) -> Image.Image:
    """Contours and landforms of a draft over its shaded relief, as the sheet draws them at its scale."""
    brown = [name for name in layers.count_features(plan.out / "draft.gpkg") if name.startswith("landform")]
    lines, transform, crs = map_of(plan, brown)
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
    return Image.fromarray((lines * (paper[..., None] / 255)).astype(np.uint8))


def save(picture: Image.Image, name: str, *, colours: int = 96) -> None:
    """Few colours, so that the repository stays small."""
    picture.quantize(colours).save(PROJECT / "docs" / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main()
