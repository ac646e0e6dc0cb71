"""What is asked of a draft, how much it matters, and what can be asked in one place."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString, Point, box

from pipeline.errors import SettingsError
from pipeline.features import make_features
from pipeline.fieldwork.questions.matters import looks, looks_of
from pipeline.fieldwork.questions.of_draft import NOT_SEEN_SIDE_M, questions_of_draft
from pipeline.fieldwork.questions.of_others import questions_of_disagreements, questions_of_note_rows
from pipeline.fieldwork.questions.stops import SEEN_FROM_STOP_M, looking_minutes, stops_of
from pipeline.norm.symbols import norm_table
from tests.fieldwork.places import CRS, EAST, NORTH

ROW = {"look_at": "x?", "why": "y", "east_m": EAST + 3, "north_m": NORTH + 4}


def features(symbol: str, confidence: float, status: str, shape: object) -> gpd.GeoDataFrame:
    """One feature of a draft."""
    table = make_features([shape], crs=CRS, symbol=symbol, confidence=confidence, evidence="seen")
    return table.assign(status=status, id=f"{symbol}{status}")


def asked(*tables: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The questions of a draft with a layer a table."""
    layers = {str(number): table for number, table in enumerate(tables)}
    return questions_of_draft(layers, symbols=norm_table(), crs=CRS)


def test_every_symbol_has_its_weight_and_minutes() -> None:
    """No symbol that a draft may hold is without a look; what must not be crossed matters more than a tree."""
    assert set(norm_table().rows) == set(looks())
    assert all(one.reason for one in looks().values())
    assert all(looks()[worse].matters > looks()["417"].matters for worse in ("201", "503", "301"))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("symbols,matters\n", "columns"),
        ('symbols,matters,minutes,reason\n"204 205",1,2,a\n205,1,2,b\n', "205 stands there twice"),
        ("symbols,matters,minutes,reason\n204,much,2,a\n", "line 2"),
        ("symbols,matters,minutes,reason\n204,-1,2,a\n", "between 0 and 100"),
    ],
)
def test_a_broken_table_of_looks_is_refused(text: str, said: str) -> None:
    """It names the line or the symbol."""
    with pytest.raises(SettingsError, match=said):
        looks_of(text)


def test_the_chance_of_a_change_comes_from_confidence_and_status() -> None:
    """A candidate of 0.3 may come, a path drawn with 0.7 may go; boulders that are drawn are rarely wrong."""
    line = LineString([(EAST, NORTH), (EAST + 60, NORTH)])
    found = asked(
        features("204", 0.3, "candidate", Point(EAST, NORTH)),
        features("505", 0.7, "draft", line),
        features("204", 0.7, "draft", Point(EAST, NORTH + 50)),
    )
    assert found["chance"].tolist() == pytest.approx([0.3, 0.3, 0.15])
    assert list(found["kind"]) == ["candidate", "doubtful", "doubtful"]
    assert found["look_at"].iloc[1] == "Footpath (505) is drawn: is it there?"
    assert found.geometry.iloc[1].equals(Point(EAST + 30, NORTH))


@pytest.mark.parametrize(
    ("symbol", "confidence", "status"),
    [
        ("204", 0.99, "draft"),
        ("101", 0.6, "draft"),
        ("601", 0.5, "draft"),
        ("204", 0.5, "rejected"),
        ("204", 0.5, "confirmed"),
        ("204", 0.02, "candidate"),
    ],
)
def test_what_is_sure_answered_or_not_for_eyes_is_no_question(symbol: str, confidence: float, status: str) -> None:
    """What is drawn with confidence, contours, north lines, what a mapper has settled, the least of candidates."""
    line = LineString([(EAST, NORTH), (EAST + 60, NORTH)])
    assert len(asked(features(symbol, confidence, status, line if symbol in ("101", "601") else Point(0, 0)))) == 0


def test_ground_not_seen_is_asked_square_by_square() -> None:
    """120 m by 60 m lie in three or two squares of 60 m; slivers are left out; each place lies in the area."""
    west, south = np.ceil(EAST / NOT_SEEN_SIDE_M) * NOT_SEEN_SIDE_M, np.ceil(NORTH / NOT_SEEN_SIDE_M) * NOT_SEEN_SIDE_M
    area = box(west, south, west + 121, south + 60)
    found = asked(features("600.1", 0.5, "draft", area))
    assert list(found["kind"]) == ["not_seen"] * 2
    assert found["id"].is_unique
    assert found.within(area).all()
    assert "3600 m2" in found["why"].iloc[0]


def test_disagreements_and_notes_are_named_by_kind_and_place() -> None:
    """So that an answer finds its question in the next list."""
    rows = pd.DataFrame([ROW])
    told = pd.concat([questions_of_disagreements(rows, crs=CRS), questions_of_note_rows(rows, crs=CRS)])
    assert list(told["id"]) == ["disagreement-500003-5600004", "notes-500003-5600004"]
    assert (told["chance"] > 0).all()
    assert len(questions_of_disagreements(rows.head(0), crs=CRS)) == 0


def test_a_stop_takes_what_is_in_sight_of_its_best_question() -> None:
    """The best in the middle takes both neighbours, though these do not see each other; the far one stands alone."""
    places = np.array([(0.0, 0), (9, 0), (18, 0), (60, 0)])
    assert SEEN_FROM_STOP_M == 10
    assert stops_of(places, np.array([1.0, 2.0, 1.0, 3.0])).tolist() == [1, 1, 1, 0]
    assert stops_of(places, np.array([2.0, 1.0, 1.0, 3.0])).tolist() == [1, 1, 2, 0]
    assert stops_of(np.empty((0, 2)), np.empty(0)).tolist() == []


def test_stops_do_not_depend_on_the_order_of_rows() -> None:
    """However the questions stand in the file, the same ones share a stop."""
    rng = np.random.default_rng(4)
    places, value = rng.uniform(0, 100, (60, 2)), rng.choice([0.2, 0.5], 60)
    order = rng.permutation(60)
    assert stops_of(places[order], value[order]).tolist() == stops_of(places, value)[order].tolist()


def test_a_further_question_takes_less_time() -> None:
    """The longest counts whole, the others half."""
    assert looking_minutes(np.array([0, 0, 1]), np.array([2.0, 4.0, 3.0]), 2).tolist() == [5.0, 3.0]
