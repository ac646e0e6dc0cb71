"""The judge of the check list, on errors that are known."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import LineString, Point

from tests.benchmarks.ranking import KINDS, Errors, errors_of_kind, found_by, nearest_first, share_near

BOULDERS, RIDES = KINDS[0], KINDS[4]


def drawn(rows: list[tuple[str, str, str, object]]) -> gpd.GeoDataFrame:
    """Features of a draft: id, symbol, status, shape."""
    table = pd.DataFrame([row[:3] for row in rows], columns=["id", "symbol", "status"])
    table["number"] = table["symbol"].str.partition(".")[0]
    return gpd.GeoDataFrame(table, geometry=[row[3] for row in rows])


def test_false_and_missed_boulders_are_told_by_the_scorers_distances(tmp_path: Path) -> None:
    """Right within 3 m of one of 0.6 m, missed from 1 m on, named by a candidate within 3 m."""
    truth = gpd.GeoDataFrame({"height": [0.7, 1.5, 1.5]}, geometry=[Point(0, 0), Point(50, 0), Point(90, 0)])
    truth.to_file(tmp_path / "truth.gpkg", layer="boulders")
    features = drawn(
        [
            ("right", "204", "draft", Point(2, 0)),
            ("false", "204", "draft", Point(20, 0)),
            ("names", "204", "candidate", Point(51, 1)),
            ("no help", "204", "candidate", Point(70, 0)),
        ]
    )
    errors = errors_of_kind(BOULDERS, features, tmp_path)
    assert errors.false_ids == ("false",)
    assert [shape.x for shape in errors.missed] == [50, 90]
    assert errors.named_by == (frozenset({"names"}), frozenset())


def test_a_ride_is_missed_where_less_than_half_is_drawn(tmp_path: Path) -> None:
    """And a ride drawn along a true path is no ghost."""
    ride = LineString([(0, 0), (100, 0)])
    for layer, shape in (("rides", ride), ("paths", LineString([(0, 50), (100, 50)]))):
        gpd.GeoDataFrame({"n": [0]}, geometry=[shape]).to_file(tmp_path / "truth.gpkg", layer=layer)
    part = ("part", "508.2", "draft", LineString([(0, 1), (30, 1)]))
    other = ("other", "508.1", "draft", LineString([(0, 50), (40, 50)]))
    ghost = ("ghost", "508.1", "draft", LineString([(0, 80), (40, 80)]))
    errors = errors_of_kind(RIDES, drawn([part, other, ghost]), tmp_path)
    assert errors.false_ids == ("ghost",)
    assert len(errors.missed) == 1
    assert (
        errors_of_kind(RIDES, drawn([("most", "508", "draft", LineString([(0, 1), (60, 1)]))]), tmp_path).missed == ()
    )


def test_errors_are_found_by_name_or_by_sight() -> None:
    """A false one by its row, a missed one by its candidate, or within sight where all missed count."""
    errors = Errors(("a", "b"), (Point(0, 0), Point(100, 0)), (frozenset({"c"}), frozenset()))
    rows = pd.DataFrame({"id": ["a", "c", "z"], "east_m": [500.0, 300.0, 95.0], "north_m": 0.0})
    assert found_by(errors, rows) == (1, 1, 2)
    assert found_by(errors, rows.head(1)) == (1, 0, 0)
    assert found_by(errors, rows.head(0)) == (0, 0, 0)


def test_nearest_first_walks_on_to_what_is_nearest() -> None:
    """From the corner along a line, however the rows stand."""
    rows = pd.DataFrame({"east_m": [30.0, 0.0, 10.0], "north_m": [0.0, 0.0, 0.0]})
    assert nearest_first(rows).tolist() == [1, 2, 0]


def test_the_share_of_a_line_near_others() -> None:
    """Half of a line of 100 m, and all or nothing of a point."""
    others = np.array([LineString([(0, 3), (45, 3)])], object)
    assert 0.45 <= share_near(LineString([(0, 0), (100, 0)]), others, 5) <= 0.5
    assert share_near(Point(10, 0), others, 5) == 1.0
    assert share_near(Point(10, 0), np.array([], object), 5) == 0.0
