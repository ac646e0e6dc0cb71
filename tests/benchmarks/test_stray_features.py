"""The comparison of drafts with and without strays, on invented features."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
from shapely import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from tests.benchmarks.stray_features import compared

STRAY = np.array([[50.0, 50.0, 100.0]])
CONTOUR, POND = ("101", LineString([(0, 20), (100, 20)])), ("301", box(70, 70, 90, 90))


def drawn(*features: tuple[str, BaseGeometry]) -> gpd.GeoDataFrame:
    """Features by symbol."""
    symbols, shapes = zip(*features, strict=True)
    return gpd.GeoDataFrame({"symbol": list(symbols)}, geometry=list(shapes))


def test_same_draft_has_no_changes() -> None:
    """Nothing came, went or moved."""
    found = compared(drawn(CONTOUR, POND), drawn(CONTOUR, POND), STRAY)
    assert (found.near, found.made.total(), found.far.total()) == (0, 0, 0)


def test_pit_at_a_stray_is_made_and_one_elsewhere_is_far() -> None:
    """The one lies within 3 m of the stray, the other 20 m away."""
    at, away = ("115", Point(51, 50)), ("115", Point(50, 70))
    found = compared(drawn(CONTOUR), drawn(CONTOUR, at, away), STRAY)
    assert (found.near, dict(found.made), dict(found.far)) == (1, {"115": 1}, {"+115": 1})


def test_contour_that_moved_far_away_counts_both_ways() -> None:
    """What went and what came are told apart; the rim of an area moved by half a metre is the same."""
    moved, rim = ("101", LineString([(0, 23), (100, 23)])), ("301", box(70.5, 70, 90, 90))
    found = compared(drawn(CONTOUR, POND), drawn(moved, rim), STRAY)
    assert dict(found.far) == {"+101": 1, "-101": 1}
