"""Rows, order and page of a batch."""

from pathlib import Path

import pytest

from pipeline.errors import InputError
from pipeline.files.batch.listing import read_list
from pipeline.plan.batch import plan_batch
from pipeline.refresh.batch.outcome import hours_to_check, outcome_of
from pipeline.refresh.batch.page import batch_page
from pipeline.refresh.batch.table import Failed, batch_table, sentence_of


def cell(west: float, likely_h: float) -> dict[str, object]:
    """A square of the effort model in the row at north 0."""
    return {"east_m": west, "north_m": 0.0, "side_m": 250.0, "fieldwork_h": {"low": 1, "likely": likely_h, "high": 9}}


def square(west: float, share: float) -> dict[str, float]:
    """A square of a refresh in the same row."""
    return {"east_m": west, "north_m": 0.0, "side_m": 250.0, "verified_unchanged": share}


def test_hours_to_check_are_those_of_ground_not_verified() -> None:
    """Two squares of 4 h, one wholly verified and one not at all: 4 h. Where nothing is known all hours count."""
    cells = [cell(0.0, 4.0), cell(250.0, 4.0)]
    assert hours_to_check(cells, [square(0.0, 1.0), square(250.0, 0.0)]) == pytest.approx(4.0)
    assert hours_to_check(cells, []) == pytest.approx(8.0)


def test_squares_that_lie_across_each_other_count_by_shared_ground() -> None:
    """A square of the refresh half over a square of the effort model speaks for the half it lies on alone."""
    assert hours_to_check([cell(0.0, 4.0)], [square(-125.0, 1.0), square(125.0, 0.5)]) == pytest.approx(1.0)


def test_an_outcome_holds_counts_hours_and_seasons() -> None:
    """What a table of areas is asked for; what is not known stays empty and is no zero."""
    told = {"counts": {"unchanged": 90, "gone": 2}, "verified_unchanged": 0.5, "squares": [square(0.0, 0.5)]}
    row = outcome_of(
        told | {"seasons": {"old": "leaf-on", "new": "leaf-off"}},
        {"fieldwork_h": {"low": 2, "likely": 4, "high": 8}, "cells": [cell(0.0, 4.0)]},
        [1.0, 0.5],
    )
    assert (row["unchanged"], row["gone"], row["new"], row["places"]) == (90, 2, 0, 2)
    assert (row["to_check_h"], row["changes_per_h"]) == (2.0, 0.75)
    assert (row["old_season"], row["new_season"]) == ("leaf-on", "leaf-off")
    without = outcome_of(told, {}, [])
    assert without["to_check_h"] is None
    assert without["fieldwork_h"] is None


def test_where_most_changes_an_hour_wait_comes_first() -> None:
    """Areas without hours follow by places, failed ones stand last and have no rank."""
    rows = {
        "failed": Failed("no tiles"),
        "unknown": {"places": 9, "changes_per_h": None},
        "few": {"places": 3, "changes_per_h": 0.5},
        "many": {"places": 3, "changes_per_h": 2.0},
    }
    table = batch_table(rows)
    assert table["area"].tolist() == ["many", "few", "unknown", "failed"]
    assert table["rank"].tolist()[:3] == [1, 2, 3]
    assert table["rank"].isna().tolist() == [False, False, False, True]


def test_names_and_messages_are_text_on_the_page() -> None:
    """What a user wrote cannot become part of the page's code."""
    page = batch_page("<b>", batch_table({"<script>x": Failed("<img src=x>"), "b": {"places": 1, "page": '"><i>'}}))
    assert "<script>" not in page
    assert "<img" not in page
    assert "<i>" not in page
    assert "&lt;img src=x&gt;" in page


def test_the_sentence_of_a_log_is_the_last_one_meant_for_the_mapper() -> None:
    """Progress before it and what libraries say after it are left out; without any, the last line tells most."""
    assert sentence_of("[ 3 s] decoding\ntussock: a.laz: is cut short\nwarning: x\n") == "a.laz: is cut short"
    assert sentence_of("Traceback\nMemoryError\n\n") == "MemoryError"
    assert "memory" in sentence_of("")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no rows"),
        ("old,map\na,b\n", "no column 'area'"),
        ("old,area\na,\n", "line 2 has nothing in column 'area'"),
        ("old,area\na,x.yaml\nb,x.yaml\n", "line 3 names the same area"),
    ],
)
def test_a_list_that_cannot_be_used_is_refused(tmp_path: Path, text: str, says: str) -> None:
    """With its name, the line and what is wrong."""
    path = tmp_path / "list.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=says):
        read_list(path)


def test_areas_of_one_name_are_told_apart(tmp_path: Path) -> None:
    """Two folders may hold a folder of the same name; paths count from the list, and a byte-order mark is no letter."""
    (tmp_path / "list.csv").write_text("old,area,numbers\na,one/x/area.yaml,n.csv\nb,two/x/area.yaml,\n", "utf-8-sig")
    batch = plan_batch(tmp_path / "list.csv")
    assert batch.names == ["x", "x-line3"]
    assert batch.listed["x"].old == tmp_path / "a"
    assert batch.numbers_option("x") == ["--numbers", str(tmp_path / "n.csv")]
    assert batch.numbers_option("x-line3") == []
