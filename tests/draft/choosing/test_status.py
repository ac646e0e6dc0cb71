"""What is drawn, and what is only proposed."""

import geopandas as gpd
import pytest
from shapely.geometry import LineString, Point, box

from pipeline.draft.choosing.status import EDGE_M, Limits, with_status
from pipeline.draft.collisions import resolve_areas, resolve_lines, resolve_points
from pipeline.draft.off_water import off_water
from pipeline.features import join_features, make_features

CRS = "EPSG:25832"
SEEN = box(-500, -500, 500, 500)


def feature(geometry: object, symbol: str, confidence: float) -> gpd.GeoDataFrame:
    """One feature."""
    return make_features([geometry], crs=CRS, symbol=symbol, confidence=confidence, evidence="seen")


def marked(*features: gpd.GeoDataFrame, limits: Limits | None = None) -> gpd.GeoDataFrame:
    """The features with their status."""
    return with_status(join_features(features, CRS), limits or Limits(), seen=SEEN, decimals=3)


def test_what_is_likelier_than_not_is_drawn() -> None:
    """From 0.5 on, as it is printed: 0.4996 is written as 0.5, and nobody would understand a candidate of that."""
    found = marked(*(feature(Point(20 * n, 0), "204", sure) for n, sure in enumerate((0.49, 0.4996, 0.5, 0.9))))
    assert list(found["status"]) == ["candidate", "draft", "draft", "draft"]


def test_a_symbol_may_have_its_own_limit() -> None:
    """A limit of 508 holds for its variants, and one of a variant for it alone."""
    limits = Limits(0.5, {"508": 0.8, "508.2": 0.3, "306": 0.1})
    symbols = ("508", "508.1", "508.2", "306", "204")
    lines = [feature(LineString([(0, 9 * n), (90, 9 * n)]), symbol, 0.4) for n, symbol in enumerate(symbols)]
    assert list(marked(*lines, limits=limits)["status"]) == ["candidate", "candidate", "draft", "draft", "candidate"]


def test_what_the_survey_cannot_show_is_never_drawn_and_says_so() -> None:
    """However sure, and whatever the limit; even a contour. Other kinds are drawn as ever."""
    limits = Limits(0.0, {}, ("101", "204", "508"))
    line = LineString([(0, 0), (90, 0)])
    found = marked(
        feature(line, "101", 0.9),
        feature(Point(0, 0), "204", 1.0),
        feature(line, "508.2", 0.9),
        feature(Point(0, 50), "109", 0.9),
        limits=limits,
    ).set_index("symbol")
    assert dict(found["status"]) == dict.fromkeys(("101", "204", "508.2"), "candidate") | {"109": "draft"}
    assert "this survey cannot show" in found["evidence"]["204"]
    assert found["evidence"]["109"] == "seen"


def test_a_contour_in_doubt_is_drawn() -> None:
    """A gap in a contour would be wrong for sure."""
    line = LineString([(0, 0), (90, 0)])
    found = marked(*(feature(line, symbol, 0.1) for symbol in ("101", "102", "103", "306")))
    assert list(found["status"]) == ["draft", "draft", "candidate", "candidate"]


def test_a_candidate_says_when_it_stands_at_the_edge_or_on_ground_not_seen() -> None:
    """What is drawn says nothing of it, and a candidate elsewhere neither."""
    at_edge, inside = Point(500 - EDGE_M + 1, 0), Point(500 - EDGE_M - 1, 0)
    found = marked(
        feature(at_edge, "204", 0.4),
        feature(inside, "204", 0.4),
        feature(at_edge, "204", 0.9),
        feature(Point(0, 0), "204", 0.4),
        feature(Point(0, 0), "204", 0.9),
        feature(box(-5, -5, 5, 5), "600.1", 0.5),
    )
    assert list(found["evidence"]) == [
        "seen; at the edge of the survey",
        "seen",
        "seen",
        "seen; on ground hardly seen",
        "seen",
        "seen",
    ]


@pytest.mark.parametrize(("sure", "symbols"), [(0.9, ["302"]), (0.4, ["204", "302"])])
def test_a_proposed_pond_takes_no_boulder(sure: float, symbols: list[str]) -> None:
    """Nor does it cut thickets and contours; one that is drawn does all of it."""
    pond = feature(box(0, 0, 60, 60), "302", sure)
    kept, _ = resolve_points(marked(pond, feature(Point(30, 30), "204", 0.8)))
    assert sorted(kept["symbol"]) == symbols
    kept, _ = resolve_areas(marked(pond, feature(box(-50, -50, 60, 60), "408", 0.8)))
    is_cut = kept[kept["symbol"] == "408"].area.sum() < 110 * 110
    assert is_cut == (sure > 0.5)
    line = LineString([(-100, 30), (160, 30)])
    kept, _ = off_water(marked(pond, feature(line, "101", 0.9)))
    assert (kept[kept["symbol"] == "101"].length.sum() < line.length) == (sure > 0.5)


@pytest.mark.parametrize(("sure", "symbols"), [(0.9, ["304"]), (0.4, ["107", "304"])])
def test_a_proposed_stream_takes_no_gully(sure: float, symbols: list[str]) -> None:
    """One that is drawn does."""
    line = LineString([(0, 0), (100, 0)])
    kept, _ = resolve_lines(marked(feature(line, "304", sure), feature(line, "107", 0.8)))
    assert sorted(kept["symbol"]) == symbols


def test_of_two_on_one_spot_the_drawn_one_stays() -> None:
    """A boulder that is only proposed takes away no tree, though rock comes before vegetation."""
    points = (feature(Point(0, 0), "204", 0.4), feature(Point(1, 0), "417", 0.9))
    assert list(resolve_points(marked(*points))[0]["symbol"]) == ["417"]
    points = (feature(Point(0, 0), "204", 0.6), feature(Point(1, 0), "417", 0.9))
    assert list(resolve_points(marked(*points))[0]["symbol"]) == ["204"]
