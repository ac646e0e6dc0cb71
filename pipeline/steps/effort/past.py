"""The club's own maps: their ground measured on drafts, and the pace that their hours give."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from pipeline.effort.rates.history import Past, pace_of
from pipeline.effort.rates.hours import TRADE_PACE, Pace, hours_with_draft, hours_without_draft
from pipeline.errors import InputError
from pipeline.files.effort.history import PastMap, read_history
from pipeline.files.layers import read_boundary, read_outline
from pipeline.steps.effort.ground import Ground, measure_draft

LEAST_WITHIN = 0.9
"""Share of an outline of a past map that must lie in the area whose draft it is measured on. Our choice."""


def pace_by_history(path: Path, /, *, own_out: Path) -> Pace:
    """The pace by a history.

    Parameters
    ----------
    own_out : folder of the area that is being estimated, with its draft; outlines are measured on it

    Raises
    ------
    InputError
        If the history cannot be used, or an outline of it lies elsewhere.
    """
    maps = read_history(path, own_out=own_out)
    grounds = [_ground_of(one, own_out) for one in maps]
    if not maps:
        return pace_of(Past(np.empty(0), np.empty((0, len(TRADE_PACE.factor))), np.empty(0), np.empty(0)))
    return pace_of(
        Past(
            area_km2=np.array([float(ground.measures["area_km2"].sum()) for ground in grounds]),
            trade_h=np.array([_trade_h(one, ground) for one, ground in zip(maps, grounds, strict=True)]),
            hours=np.array([one.hours for one in maps]),
            drawing_h=np.array([one.drawing_h for one in maps]),
        )
    )


def _trade_h(past: PastMap, ground: Ground) -> list[float]:
    """Hours of each task by the trade's rates, with or without a draft as the map was made."""
    hours = hours_with_draft if past.had_draft else hours_without_draft
    return [float(h) for h in hours(ground.measures, grades=ground.grades, scale=past.scale).sum(axis=0)]


def _ground_of(past: PastMap, own_out: Path) -> Ground:
    out = past.out or own_out
    within = None if past.out else _within_area(past, out / "work" / "outline.gpkg")
    return measure_draft(
        draft=out / "draft.gpkg",
        slope=out / "rasters" / "slope.tif",
        outline=out / "work" / "outline.gpkg",
        survey=out / "report" / "survey.json",
        within=within,
    )


def _within_area(past: PastMap, outline: Path) -> MultiPolygon:
    """The part of a past map's outline in the area that is estimated."""
    area, crs = read_outline(outline)
    drawn = read_boundary(past.file, crs)
    within = polygons_of(shapely.intersection(drawn, area))
    if within.is_empty or within.area < LEAST_WITHIN * drawn.area:
        raise InputError(
            f"{past.where}: {past.file.name} does not lie in this area, so its ground cannot be measured; name the "
            "area file of a draft that holds it"
        )
    return within


def polygons_of(shape: BaseGeometry, /) -> MultiPolygon:
    """The areas of a shape, without the points and lines where two areas only touched."""
    return MultiPolygon([part for part in shapely.get_parts(shape) if isinstance(part, Polygon)])
