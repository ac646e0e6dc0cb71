"""Steps that make what people read: the composed draft, the field sheet, the manifest."""

from __future__ import annotations

import datetime
import platform
from importlib.metadata import version
from pathlib import Path

from pipeline.draft.compose import compose_draft
from pipeline.files import atomic, checksums, layers, rasters
from pipeline.files import blocks as archives
from pipeline.files.symbols import read_symbols
from pipeline.settings import ComposeSettings, SheetSettings
from pipeline.sheet.drawing import draw_sheet
from pipeline.sheet.north import north_of_area, technical_lines
from pipeline.sheet.picture import sheet_pictures

LIBRARIES = ("geopandas", "laspy", "lazrs", "numpy", "pyproj", "rasterio", "scipy", "shapely", "snakemake")
"""Whose versions may change a result."""


def compose(
    *, themes: list[Path], outline: Path, symbols: Path, out: Path, map_date: str, settings: ComposeSettings
) -> None:
    """One draft of all themes, in the fixed layers."""
    area, crs = layers.read_outline(outline)
    date = datetime.date.fromisoformat(map_date)
    tables = [layers.read_features(path) for path in themes]
    tables.append(technical_lines(area, crs=crs, map_date=date))
    draft = compose_draft(
        tables,
        area,
        crs=crs,
        north_deg=north_of_area(area, crs=crs, date=date).grid_deg,
        symbols=read_symbols(symbols),
        settings=settings,
    )
    layers.write_layers(out, draft)


def sheet(
    *,
    draft: Path,
    outline: Path,
    symbols: Path,
    survey: Path,
    season: Path,
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
        symbols=read_symbols(symbols),
        name=name,
        outline=area,
        crs=crs,
        scale=scale,
        contour_interval_m=interval_m,
        map_date=datetime.date.fromisoformat(map_date),
        survey_line=f"{archives.read_json(survey)['survey_line']} {archives.read_json(season)['message']}",
        settings=settings,
    )
    atomic.write_bytes(pdf, drawing.pdf)
    page, map_alone, transform = sheet_pictures(drawing, settings=settings)
    rasters.write_png(png, page, dpi=settings.resolution_dpi)
    rasters.write_picture(tif, map_alone, transform, crs)


def manifest(*, folder: Path, plan: Path, ground: Path, out: Path) -> None:
    """What went in, what came out, with which settings and versions.

    It carries no clock time, so that the same input gives the same file; the files themselves have dates.
    """
    content = archives.read_json(plan)
    made = [
        path
        for pattern in ("draft.gpkg", "rasters/*.tif", "points/*.laz", "sheets/*", "report/*")
        for path in sorted(folder.glob(pattern))
        if not path.name.startswith(".")
    ]
    content |= {
        "ground": archives.read_json(ground),
        "tussock": version("tussock"),
        "python": platform.python_version(),
        "libraries": {name: version(name) for name in LIBRARIES},
        "made": {path.relative_to(folder).as_posix(): checksums.sha256_of(path) for path in made},
        "features": layers.count_features(folder / "draft.gpkg"),
        "cautions": [
            "Not field-checked. Not for navigation or competition.",
            "Cliffs, water, wires, private and protected land need local knowledge.",
            "Follow local rules and land-owner permission.",
        ],
    }
    archives.write_json(out, content)
