"""Least lengths and areas of the norm, enforced once."""

import math

import geopandas as gpd
import pytest
from shapely.geometry import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from pipeline.draft.smallest import TOLERANCE, short_watercourses_proposed, small_fields_as_clusters, without_too_small
from pipeline.features import join_features, make_features
from tests.paths import symbols

CRS = "EPSG:25832"


def feature(geometry: BaseGeometry, symbol: str) -> gpd.GeoDataFrame:
    """One feature."""
    return make_features([geometry], crs=CRS, symbol=symbol, confidence=0.5, evidence="made for a test")


@pytest.mark.parametrize(
    ("symbol", "least_m2"),
    [
        # ISOM 2017-2 as the IOF's O-Map Wiki prints it: 401 0.55 x 0.55 mm, 302 0.7 x 0.7 mm, 403 and 214 1 x 1 mm,
        # 409 1 x 1 mm, 407 1.5 x 1 mm, at 1:15 000.
        ("401", 67.5),
        ("302", 110.25),
        ("403", 225.0),
        ("214", 225.0),
        ("409", 225.0),
        ("407", 337.5),
    ],
)
def test_areas_keep_to_the_least_area_of_their_symbol(symbol: str, least_m2: float) -> None:
    """A square just above stays, one clearly below goes and says how large it is and how large it should be."""
    above, below = (math.sqrt(least_m2 * share) for share in (1.01, 1 - 2 * TOLERANCE))
    stays, _ = without_too_small(feature(box(0, 0, above, above), symbol), symbols())
    goes, dropped = without_too_small(feature(box(0, 0, below, below), symbol), symbols())
    assert (len(stays), len(goes), len(dropped)) == (1, 0, 1)
    assert f"{least_m2:.0f} m2" in dropped["reason"].iloc[0]


def test_lines_keep_to_the_least_length_of_their_symbol() -> None:
    """306 is two dashes and the gap between, 2.75 mm or 41 m (from memory of ISOM 2017-2)."""
    long, short = LineString([(0, 0), (42, 0)]), LineString([(0, 50), (39, 50)])
    stays, dropped = without_too_small(join_features([feature(long, "306"), feature(short, "306")], CRS), symbols())
    assert stays.length.tolist() == [42.0]
    assert dropped["reason"].tolist() == ["39 m, and the norm draws none below 41 m"]


def test_buildings_rings_and_points_are_not_measured_by_it() -> None:
    """A hut is drawn larger than it is; a ring of a form line is measured across; a point has no size."""
    ring = LineString(Point(0, 0).buffer(3).exterior.coords)
    kept, dropped = without_too_small(
        join_features([feature(box(0, 0, 4, 4), "521"), feature(ring, "103"), feature(Point(9, 9), "204")], CRS),
        symbols(),
    )
    assert (len(kept), len(dropped)) == (3, 0)


def test_a_boulder_field_too_small_to_draw_becomes_a_cluster() -> None:
    """No boulders are lost: a field below the least area (1.1 and 0.8 mm2, derived) is one triangle in its midst."""
    fields = join_features([feature(box(0, 0, 10, 10), "209"), feature(box(100, 0, 130, 30), "208")], CRS)
    kept, merged = small_fields_as_clusters(fields, symbols())
    assert list(zip(kept["symbol"], kept.geom_type, strict=True)) == [("207", "Point"), ("208", "Polygon")]
    assert kept.geometry[0].within(box(0, 0, 10, 10))
    assert merged["what"].tolist() == ["merged"]


def test_pieces_of_one_watercourse_count_together() -> None:
    """Two ditches of 30 m that begin at the same place stay; a third one 10 m away goes."""
    lines = [LineString([(0, 0), (30, 0)]), LineString([(-2, 0), (-32, 0)]), LineString([(0, 10), (30, 10)])]
    features = join_features([feature(line, "306") for line in lines], CRS)
    stays, dropped = without_too_small(features, symbols())
    assert (len(stays), len(dropped)) == (2, 1)
    assert stays.total_bounds[3] == 0


def test_a_scrap_of_a_doubtful_ditch_is_not_drawn() -> None:
    """36 m of 306, of which 71 m more are a candidate, is a candidate too; where the rest is drawn it stays drawn."""
    scrap, rest = feature(LineString([(0, 0), (36, 0)]), "306"), feature(LineString([(36, 0), (107, 0)]), "306")
    doubtful = join_features([scrap.assign(status="draft"), rest.assign(status="candidate")], CRS)
    kept, gone = short_watercourses_proposed(doubtful, symbols())
    assert list(kept["status"]) == ["candidate", "candidate"]
    assert list(gone["what"]) == ["not drawn"]
    kept, gone = short_watercourses_proposed(doubtful.assign(status="draft"), symbols())
    assert list(kept["status"]) == ["draft", "draft"]
    assert len(gone) == 0
