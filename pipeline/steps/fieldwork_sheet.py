"""The fieldwork sheet: the map at 1:5 000, pale over the relief, with candidates and places to look at."""

from __future__ import annotations

import datetime
from pathlib import Path

import shapely

from pipeline.files import layers, rasters
from pipeline.files.check_lists import read_check_list
from pipeline.files.disk import atomic
from pipeline.norm.symbols import norm_table
from pipeline.settings import SheetSettings
from pipeline.sheet.fieldwork import CheckPoint, Relief, draw_fieldwork
from pipeline.steps.area.sheet import survey_line, today, told_of
from pipeline.words.codes import LanguageCode
from pipeline.words.language import Language

CHECK_LIST, DISAGREEMENTS = "check_list.csv", "disagreements.csv"
"""Lists of places to look at, the better one first: the second holds only where another map says otherwise."""
LARGEST_RELIEF_CELLS = 12_000_000
"""Most cells of the relief in the PDF: 12 MB before it is compressed (our choice)."""


def fieldwork_sheet(
    *,
    draft: Path,
    outline: Path,
    survey: Path,
    season: Path,
    borrowed: Path,
    shaded_relief: Path,
    check_lists: Path,
    pdf: Path,
    name: str,
    map_date: str,
    interval_m: float,
    language: LanguageCode,
    settings: SheetSettings,
) -> None:
    """The fieldwork sheet as a PDF; `check_lists` is the folder in which lists of places to look at may lie."""
    area, crs = layers.read_outline(outline)
    said_in = Language(language)
    drawing = draw_fieldwork(
        {layer: layers.read_layer(draft, layer) for layer in layers.count_features(draft)},
        symbols=norm_table(),
        name=name,
        outline=area,
        crs=crs,
        contour_interval_m=interval_m,
        map_date=datetime.date.fromisoformat(map_date),
        survey_line=survey_line(survey, season, borrowed, said_in),
        settings=settings,
        told=told_of(survey, drafted=today()),
        language=said_in,
        relief=Relief(*rasters.read_bytes(shaded_relief, largest_cells=LARGEST_RELIEF_CELLS)),
        check_points=[point for point in _check_points(check_lists) if _is_in(point, area)],
    )
    atomic.write_bytes(pdf, drawing.pdf)


def _check_points(folder: Path) -> list[CheckPoint]:
    """The places of the first list there is."""
    for path in (folder / CHECK_LIST, folder / DISAGREEMENTS):
        if path.exists():
            rows = read_check_list(path)
            words = zip(rows["rank"].astype(int), rows["look_at"].astype(str), rows["why"].astype(str), strict=True)
            places = zip(rows["east_m"].astype(float), rows["north_m"].astype(float), strict=True)
            return [CheckPoint(*told, *place) for told, place in zip(words, places, strict=True)]
    return []


def _is_in(point: CheckPoint, area: shapely.MultiPolygon) -> bool:
    return bool(shapely.contains_xy(area, point.east_m, point.north_m))
