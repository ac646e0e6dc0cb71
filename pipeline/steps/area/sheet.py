"""The field sheet: PDF to scale, PNG, georeferenced TIFF as printed and with grid north up."""

from __future__ import annotations

import datetime
import os
import time
from pathlib import Path
from typing import cast

from pipeline.files import arrays, layers, rasters
from pipeline.files.disk import atomic
from pipeline.norm.symbols import norm_table
from pipeline.settings import SheetSettings
from pipeline.sheet.drawing import draw_sheet
from pipeline.sheet.picture import grid_north_up, sheet_pictures
from pipeline.sheet.texts import Told, days_of, survey_words
from pipeline.words.codes import LanguageCode
from pipeline.words.language import Language

NOT_SHOWN = ("not possible", "not drawn")
"""Grades of the survey for kinds of feature that the draft cannot have."""


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
    grid_north: Path,
    name: str,
    map_date: str,
    scale: int,
    interval_m: float,
    language: LanguageCode,
    settings: SheetSettings,
) -> None:
    """The field sheet as PDF to scale, as PNG, and its map as georeferenced TIFFs, turned and not."""
    area, crs = layers.read_outline(outline)
    said_in = Language(language)
    drawing = draw_sheet(
        {layer: layers.read_layer(draft, layer) for layer in layers.count_features(draft)},
        symbols=norm_table(),
        name=name,
        outline=area,
        crs=crs,
        scale=scale,
        contour_interval_m=interval_m,
        map_date=datetime.date.fromisoformat(map_date),
        survey_line=survey_line(survey, season, borrowed, said_in),
        settings=settings,
        told=told_of(survey, drafted=today()),
        language=said_in,
    )
    atomic.write_bytes(pdf, drawing.pdf)
    page, map_alone, transform = sheet_pictures(drawing, settings=settings)
    rasters.write_png(png, page, dpi=settings.resolution_dpi)
    rasters.write_picture(tif, map_alone, transform, crs)
    rasters.write_picture(grid_north, *grid_north_up(map_alone, transform), crs)


def survey_line(survey: Path, season: Path, borrowed: Path, language: Language, /) -> str:
    """What the draft was made from, as `pipeline.sheet.texts.survey_words` says it, by the reports of a draft."""
    lidar, leaves = arrays.read_json(survey), arrays.read_json(season)
    sources = cast("list[dict[str, str]]", arrays.read_json(borrowed)["sources"])
    return survey_words(
        language,
        maker=str(lidar["credit"]),
        pulses_per_m2=cast("dict[str, float]", lidar["density"])["pulses_per_m2"],
        leaves=str(leaves["leaves"]),
        leaves_told_from=str(leaves["told_from"]),
        borrowed=[(source["file"], source["credit"]) for source in sources],
    )


def told_of(survey: Path, /, *, drafted: datetime.date) -> Told:
    """Days of flight, the day of the draft, and the kinds of feature that the survey cannot show."""
    record = arrays.read_json(survey)
    flight = cast("dict[str, list[str]]", record["flight"])
    verdicts = cast("list[dict[str, str]]", record["verdicts"])
    not_found = tuple(verdict["feature"] for verdict in verdicts if verdict["grade"] in NOT_SHOWN)
    return Told(drafted, days_of(flight["days"]), not_found)


def today() -> datetime.date:
    """The day that is printed as that of the draft.

    The variable SOURCE_DATE_EPOCH, seconds since 1970, gives another day, so that a sheet can be made again byte for
    byte (reproducible-builds.org, specification of that variable).
    """
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    seconds = int(epoch) if epoch.isdigit() else time.time()
    return datetime.datetime.fromtimestamp(seconds, datetime.UTC).date()
