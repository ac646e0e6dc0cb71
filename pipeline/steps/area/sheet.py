"""The field sheet: PDF to scale, PNG, georeferenced TIFF."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import cast

from pipeline.files import arrays, layers, rasters
from pipeline.files.disk import atomic
from pipeline.norm.symbols import norm_table
from pipeline.settings import SheetSettings
from pipeline.sheet.drawing import draw_sheet
from pipeline.sheet.picture import sheet_pictures


def sheet(
    *,
    draft: Path,
    outline: Path,
    survey: Path,
    season: Path,
    borrowed: Path,
    pdf: Path,
    png: Path,
    tif: Path,
    name: str,
    map_date: str,
    scale: int,
    interval_m: float,
    settings: SheetSettings,
) -> None:
    """The field sheet as PDF to scale, as PNG, and its map as a georeferenced TIFF."""
    area, crs = layers.read_outline(outline)
    drawing = draw_sheet(
        {layer: layers.read_layer(draft, layer) for layer in layers.count_features(draft)},
        symbols=norm_table(),
        name=name,
        outline=area,
        crs=crs,
        scale=scale,
        contour_interval_m=interval_m,
        map_date=datetime.date.fromisoformat(map_date),
        survey_line=" ".join(
            [f"{arrays.read_json(survey)['survey_line']} {arrays.read_json(season)['message']}", *_credits(borrowed)]
        ),
        settings=settings,
    )
    atomic.write_bytes(pdf, drawing.pdf)
    page, map_alone, transform = sheet_pictures(drawing, settings=settings)
    rasters.write_png(png, page, dpi=settings.resolution_dpi)
    rasters.write_picture(tif, map_alone, transform, crs)


def _credits(borrowed: Path) -> list[str]:
    """Who made the maps that were borrowed from, each once, as one sentence; nothing without such maps."""
    sources = cast("list[dict[str, object]]", arrays.read_json(borrowed)["sources"])
    said = dict.fromkeys(str(source["credit"] or f"{source['file']} (no credit given)") for source in sources)
    return [f"With data of others: {'; '.join(said)}."] if said else []
