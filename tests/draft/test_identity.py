"""Ids that stay."""

import geopandas as gpd
import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import LineString, Point, box

from pipeline.draft.identity import POINT_CELL_M, in_fixed_order, stable_ids
from pipeline.features import join_features, make_features

CRS = "EPSG:25832"


def feature(geometry: object, symbol: str, **numbers: float) -> gpd.GeoDataFrame:
    """One feature."""
    return make_features([geometry], crs=CRS, symbol=symbol, confidence=0.5, evidence="seen", **numbers)


def draft_of(seed: int) -> gpd.GeoDataFrame:
    """Boulders, contours and thickets of all sizes anywhere in a square kilometre, no nearer than symbols may be."""
    rng = np.random.default_rng(seed)
    corners = np.stack(np.meshgrid(np.arange(20), np.arange(20)), axis=-1).reshape(-1, 2) * 50.0
    at = corners + rng.uniform(0, 35, (400, 2))
    parts = []
    for number, (east, north) in enumerate(at):
        size_m = float(rng.choice([8, 20, 60, 300]) * rng.uniform(0.8, 1.2))
        shape = box(east, north, east + size_m, north + size_m * 0.7)
        parts.append(
            [
                feature(Point(east, north), "204", height_m=1 + east / 1000),
                feature(LineString(shape.exterior.coords), "101", elevation_m=5.0 * (number % 7)),
                feature(shape, "408"),
            ][number % 3]
        )
    return in_fixed_order(join_features(parts, CRS))


def test_ids_do_not_depend_on_order_or_company() -> None:
    """The same feature has the same id among others and in another order, and twins are told apart."""
    three = [feature(Point(x, 1), "204") for x in (1.0, 9.0, 17.0)]
    forward, backward = (in_fixed_order(join_features(part, CRS)) for part in (three, three[::-1]))
    assert stable_ids(forward) == stable_ids(backward)
    assert len(set(stable_ids(forward))) == 3
    assert stable_ids(in_fixed_order(three[1])) == [stable_ids(forward)[1]]
    assert len(set(stable_ids(join_features([three[0], three[0]], CRS)))) == 2


@pytest.mark.parametrize("seed", range(3))
def test_most_ids_stay_when_everything_moves_by_centimetres(seed: int) -> None:
    """And sizes change by a hundredth; far moves change them, or the test would say nothing."""
    rng = np.random.default_rng(seed)
    draft = draft_of(seed)
    before = np.array(stable_ids(draft))
    assert len(set(before)) == len(draft)

    def kept(by_m: float) -> float:
        east_m, north_m = rng.normal(0, by_m, (2, len(draft)))
        times = rng.normal(1, 0.01, len(draft))
        shapes = [
            affinity.translate(affinity.scale(shape, by, by), east, north)
            for shape, east, north, by in zip(draft.geometry, east_m, north_m, times, strict=True)
        ]
        return float(np.mean(before == np.array(stable_ids(draft.set_geometry(shapes, crs=CRS)))))

    assert kept(0.05) > 0.95
    assert kept(20.0) < 0.3


def test_a_boulder_that_is_measured_higher_keeps_its_id() -> None:
    """From 204 to 205, as from 305 to 306; but a boulder is no knoll, and a contour no contour of another level."""
    place, line = Point(3, 3), LineString([(0, 0), (30, 0)])
    assert stable_ids(feature(place, "204")) == stable_ids(feature(place, "205"))
    assert stable_ids(feature(line, "305")) == stable_ids(feature(line, "306"))
    assert stable_ids(feature(place, "204")) != stable_ids(feature(place, "109"))
    low, high = (stable_ids(feature(line, "101", elevation_m=height)) for height in (5.0, 10.0))
    assert low != high
    assert low == stable_ids(feature(line, "102", elevation_m=5.0))


def test_a_small_newcomer_renames_none() -> None:
    """Of two in one square the higher has the plain name, wherever in the square the other comes up."""
    old = feature(Point(3, 3), "204", height_m=2.0)
    new = feature(Point(3, POINT_CELL_M - 1), "204", height_m=1.1)
    both = in_fixed_order(join_features([old, new], CRS))
    ids = dict(zip(both["height_m"], stable_ids(both), strict=True))
    assert ids[2.0] == stable_ids(old)[0]
    assert ids[1.1] == f"{ids[2.0]}-2"


def test_no_features_have_no_ids() -> None:
    """An empty draft stays one."""
    assert stable_ids(feature(Point(0, 0), "204").iloc[:0]) == []
