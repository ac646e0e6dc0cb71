"""Questions beside those of the draft's features: notes that would teach most, and where other maps disagree."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd

from pipeline.fieldwork.questions.listed import check_list_of_notes
from pipeline.fieldwork.questions.table import question_table

NOTE_CHANCE = 0.5
"""Chance that a note at the limit of two greens moves it: it lies as likely on either side (our choice)."""
NOTE_MATTERS = 1.0
"""How much such a note matters, a single boulder being 1: it moves areas all over the map, each by little (fitted on
scene_a, hard_moraine and hard_karst: with 2 the notes came before what is wrong)."""
NOTE_MINUTES = 5.0
DISAGREE_CHANCE, DISAGREE_MATTERS, DISAGREE_MINUTES = 0.5, 2.0, 4.0
"""Of two maps that disagree one is wrong, either as likely; most are about ways (our choice)."""


def questions_of_notes(places: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """Where a note on runnability would teach the calibration most, as rows of `question_table`.

    Parameters
    ----------
    places : of `pipeline.vegetation.calibration.next_notes.where_notes_teach`
    """
    rows = check_list_of_notes(places)
    return questions_of_note_rows(pd.DataFrame(rows.drop(columns="geometry")), crs=places.crs)


def questions_of_note_rows(rows: pd.DataFrame, /, *, crs: object) -> gpd.GeoDataFrame:
    """As `questions_of_notes`, of the rows of `fieldwork/note_places.csv`."""
    return _questions(rows, crs=crs, kind="notes", figures=(NOTE_CHANCE, NOTE_MATTERS, NOTE_MINUTES))


def questions_of_disagreements(rows: pd.DataFrame, /, *, crs: object) -> gpd.GeoDataFrame:
    """Where another map and lidar say different things, as rows of `question_table`.

    Parameters
    ----------
    rows : of `fieldwork/disagreements.csv`
    """
    figures = DISAGREE_CHANCE, DISAGREE_MATTERS, DISAGREE_MINUTES
    return _questions(rows, crs=crs, kind="disagreement", figures=figures)


def _questions(rows: pd.DataFrame, *, crs: object, kind: str, figures: tuple[float, float, float]) -> gpd.GeoDataFrame:
    """Rows with `look_at`, `why`, `east_m`, `north_m` as questions of a kind, named after the kind and the place."""
    east, north = rows["east_m"].astype(float), rows["north_m"].astype(float)
    chance, matters, minutes = figures
    filled = pd.DataFrame(
        {
            "id": [f"{kind}-{e:.0f}-{n:.0f}" for e, n in zip(east, north, strict=True)],
            "symbol": "",
            "kind": kind,
            "look_at": rows["look_at"].astype(str).to_numpy(),
            "why": rows["why"].astype(str).to_numpy(),
            "confidence": 1 - chance,
            "chance": chance,
            "matters": matters,
            "minutes": minutes,
        }
    )
    return question_table(filled, list(gpd.points_from_xy(east, north)), crs=crs)
