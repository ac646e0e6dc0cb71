"""A page of a small invented draft, with names and words as hostile as a user's may be."""

from __future__ import annotations

import datetime

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine

from pipeline.norm.symbols import norm_table
from pipeline.report.grounds import pictures_of_ground
from pipeline.report.lists import LEFT_OUT, checks_of, effort_of, rows_of
from pipeline.report.looks import Json
from pipeline.report.page import Parts, page_of
from pipeline.report.place import Place, place_of_page
from pipeline.report.quality import quality_of
from pipeline.report.shapes import features_of
from pipeline.report.told import Told, about_of
from pipeline.shipped import MAP_LIBRARY, PAGE_PARTS
from tests.exports.made_draft import CRS, EAST, NORTH, made_layers

HOSTILE = "<script>window.broken = 1</script>\"'&amp; </title><img src=x onerror=alert(1)> 🌲 שלום"
"""What a page must show as it is: a script, quotes, an entity, an event handler, an emoji, letters set leftwards."""
OUTLINE = shapely.box(EAST - 10, NORTH - 10, EAST + 150, NORTH + 160)
CELL_M = 1.0
GROUND = Affine(CELL_M, 0, EAST - 20, 0, -CELL_M, NORTH + 180)
SHAPE = (200, 190)


def place() -> Place:
    """The page's map of the invented area."""
    return place_of_page(OUTLINE, crs=CRS, map_date=datetime.date(2027, 4, 10))


def checks() -> pd.DataFrame:
    """Three places to look at, of three kinds."""
    drafted = made_layers()["rock_point"]
    return pd.DataFrame(
        {
            "rank": [1, 2, 3],
            "name": ["001", "002", "003"],
            "outing": [1, 1, 2],
            "stop": [1, 2, 1],
            "id": [drafted["id"][1], "", ""],
            "symbol": ["204", "406", "600.1"],
            "kind": ["candidate", "notes", "not_seen"],
            "look_at": [f"Boulder? {HOSTILE}", "405 or 406?", "what is there?"],
            "why": ["12 returns", HOSTILE, "few pulses"],
            "confidence": [0.47, np.nan, np.nan],
            "minutes": [3.0, 2.0, 6.0],
            "worth": [3.0, 2.0, 1.0],
            "east_m": [EAST + 40, EAST + 100, EAST + 20],
            "north_m": [NORTH + 95, NORTH + 40, NORTH + 140],
        }
    )


def left_out() -> pd.DataFrame:
    """Two features that gave way."""
    rows = [
        ("101", "Contour", "moved", f"bent off {HOSTILE}", 0.8, EAST + 20, NORTH + 20, 30.0, 0.9, "at 440 m"),
        ("204", "Boulder", "dropped", "too near a surer one", 2.0, EAST + 30, NORTH + 90, np.nan, 0.6, "9 returns"),
    ]
    return pd.DataFrame(rows, columns=[*LEFT_OUT[:5], "east_m", "north_m", *LEFT_OUT[5:]])


def effort() -> dict[str, object]:
    """An estimate of one square."""
    hours = {"low": 1.0, "likely": 2.0, "high": 4.0}
    cell = {"east_m": EAST - 50, "north_m": NORTH - 20, "side_m": 250.0, "area_km2": 0.027, "fieldwork_h": hours}
    return {
        "fieldwork_h": hours,
        "drawing_h": hours,
        "area_km2": 0.027,
        "cells": [cell | {"drawing_h": hours, "why": HOSTILE}],
        "tasks": [{"task": "rock", "fieldwork_h": hours, "why": "three boulders"}],
        "words": ["Two hours."],
    }


def blocks() -> dict[str, Json]:
    """All that a page may hold."""
    table, where = norm_table(), place()
    rows, cols = np.indices(SHAPE)
    grounds = {
        "shaded_relief": ((128 + 100 * np.sin(rows / 9) * np.cos(cols / 11)).astype(np.float32), GROUND),
        "ground_support": ((rows / 60).astype(np.float32), GROUND),
        "running_speed": ((cols / 190).astype(np.float32), GROUND),
    }
    survey = {
        "verdicts": [{"feature": "boulders", "grade": "poor", "reason": HOSTILE}],
        "cautions": [HOSTILE],
        "flight": {"days": ["2024-04-02"]},
    }
    told = Told(
        HOSTILE, 10_000, 5.0, "2027-04-10", ["Never."], HOSTILE, survey, {"message": HOSTILE}, {"Ground": HOSTILE}
    )
    return {
        "about": about_of(told, where, table),
        "place": {"width_m": where.width_m, "height_m": where.height_m, "degrees": dict(where.degrees_by())},  # type: ignore[dict-item]
        "features": features_of(hostile_layers(), where, table),
        "pictures": pictures_of_ground(grounds, OUTLINE, where),
        "left_out": rows_of(left_out(), where, columns=LEFT_OUT),
        "checks": checks_of(checks(), where, kind="notes"),
        "quality": quality_of(grounds["ground_support"], where),
        "effort": effort_of(effort(), where),
        "progress": {"done": 4, "listed": 7, "done_percent": 57.1, "hours_left": 0.3},
        "calibration": {"slow_from_m2_per_m3": 0.12, "walk_from_m2_per_m3": 0.4, "fight_from_m2_per_m3": 0.9}
        | {"notes": 14, "places": 12, "started_from": [0.1, 0.4, 0.9], "weighted_kappa_after": 0.7},
    }


def hostile_layers() -> dict[str, gpd.GeoDataFrame]:
    """The invented draft with such words as evidence."""
    return {name: table.assign(evidence=HOSTILE) for name, table in made_layers().items()}


def parts() -> Parts:
    """The files that ship with the code."""
    own, library = (
        {path.name: path.read_text(encoding="utf-8") for path in folder.iterdir() if path.is_file()}
        for folder in (PAGE_PARTS, MAP_LIBRARY)
    )
    return Parts(own, library)


def page(content: dict[str, Json] | None = None) -> str:
    """The page as HTML."""
    return page_of(HOSTILE, blocks() if content is None else content, parts())
