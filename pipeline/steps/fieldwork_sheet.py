"""The fieldwork sheet: the map at 1:5 000, pale over the relief, with candidates and places to look at."""

from __future__ import annotations

import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import shapely

from pipeline.files import layers, rasters
from pipeline.files.disk import atomic
from pipeline.files.fieldwork.check_lists import read_check_list
from pipeline.norm.symbols import norm_table
from pipeline.settings import SheetSettings
from pipeline.sheet.fieldwork import CheckPoint, Relief, draw_fieldwork
from pipeline.steps.area.sheet import survey_line, today, told_of
from pipeline.words.codes import LanguageCode
from pipeline.words.language import Language

APART_M = 30.0
"""Least distance between two places on the sheet, 6 mm at 1:5 000: closer, rings and numbers hide the map.
The better place is drawn; the other stands in the list and in its outing (our choice)."""
MOST_STOPS = 200
"""Stops drawn of a list that has no outings (our choice)."""
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
    check_list: Path,
    pdf: Path,
    name: str,
    map_date: str,
    interval_m: float,
    language: LanguageCode,
    settings: SheetSettings,
    changes: Path | None = None,
) -> None:
    """The fieldwork sheet as a PDF, or the sheet of changes of a refresh.

    Parameters
    ----------
    check_list : places to look at
    changes : what a refresh found, for its sheet of changes; None for the fieldwork sheet of a draft
    """
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
        check_points=[
            point for point in (_changed_places if changes else _check_points)(check_list) if _is_in(point, area)
        ],
        patches=_patches(changes) if changes else None,
    )
    atomic.write_bytes(pdf, drawing.pdf)


def _patches(changes: Path) -> list[shapely.Polygon]:
    """What changed, each patch by itself."""
    parts = shapely.get_parts(layers.read_layer(changes, "changes").geometry.to_numpy())
    return [part for part in parts.tolist() if isinstance(part, shapely.Polygon)]


def _check_points(path: Path) -> list[CheckPoint]:
    """The stops of a check list that the sheet has room for, the best first, each with its questions.

    Of a list of other making each row is a stop. Stops that are in no outing are left out where any is in one.
    """
    rows = read_check_list(path)
    walked = rows[rows["outing"] > 0]
    shown = walked if len(walked) else rows.head(MOST_STOPS)
    number = shown["name"].str.extract(r"(\d+)", expand=False).astype(int)
    return _with_room([_stop(int(n), group) for n, group in shown.groupby(number, sort=True)])


def _changed_places(path: Path) -> list[CheckPoint]:
    """The places of a list of changes, however near to each other: each has its own rim on the sheet."""
    rows = read_check_list(path).head(MOST_STOPS)
    return [_stop(int(rows["rank"].iloc[row]), rows.iloc[[row]]) for row in range(len(rows))]


def _stop(number: int, rows: pd.DataFrame) -> CheckPoint:
    look_at, why = " ".join(map(str, rows["look_at"])), "; ".join(map(str, rows["why"]))
    return CheckPoint(number, look_at, why, float(rows["east_m"].iloc[0]), float(rows["north_m"].iloc[0]))


def _with_room(points: list[CheckPoint]) -> list[CheckPoint]:
    """The points that keep APART_M from all better ones that are drawn."""
    drawn: list[CheckPoint] = []
    for point in points:
        away = (np.hypot(point.east_m - other.east_m, point.north_m - other.north_m) for other in drawn)
        if min(away, default=np.inf) >= APART_M:
            drawn.append(point)
    return drawn


def _is_in(point: CheckPoint, area: shapely.MultiPolygon) -> bool:
    return bool(shapely.contains_xy(area, point.east_m, point.north_m))
