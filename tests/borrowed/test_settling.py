"""Other maps beside what lidar shows."""

from __future__ import annotations

import geopandas as gpd
from shapely.geometry import LineString, box
from shapely.geometry.base import BaseGeometry

from pipeline.borrowed.settling import Settled, settle
from pipeline.features import make_features

CRS = "EPSG:25832"


def made(*features: tuple[str, BaseGeometry], origin: str) -> gpd.GeoDataFrame:
    """Features of symbol and shape."""
    table = make_features(
        [shape for _, shape in features], crs=CRS, symbol=[s for s, _ in features], confidence=0.7, evidence="seen"
    )
    return table.assign(origin=origin, status="draft")


def settled(lidar: gpd.GeoDataFrame, *borrowed: tuple[str, BaseGeometry]) -> Settled:
    """Both settled."""
    return settle(lidar, made(*borrowed, origin="county.gpkg"))


def test_path_on_both_is_drawn_once_where_lidar_shows_it() -> None:
    """The other map says what it is, lidar where it runs."""
    lidar = made(("506", LineString([(0, 0), (200, 0)])), origin="lidar")
    both = settled(lidar, ("504", LineString([(0, 4), (200, 4)])))
    row = both.features.iloc[0]
    assert len(both.features) == len(both.replaced) == 1
    assert (row["symbol"], row["origin"], row["status"]) == ("504", "county.gpkg", "imported")
    assert abs(row.geometry.interpolate(100).y) < 0.3
    assert "4.0 m beside" in row["evidence"]
    assert both.disagreements.empty


def test_parallel_track_is_kept_twice_and_listed() -> None:
    """14 m apart is no shift of a map: both stay, and somebody is to look."""
    lidar = made(("504", LineString([(0, 0), (200, 0)])), origin="lidar")
    both = settled(lidar, ("504", LineString([(0, 14), (200, 14)])))
    assert sorted(both.features["origin"]) == ["county.gpkg", "lidar"]
    assert list(both.disagreements["why"]) == ["lidar shows one 14 m beside it, which may be the same"]


def test_small_path_that_lidar_misses_is_no_question() -> None:
    """Lidar misses small paths: a 506 is taken in silence, a road is asked for."""
    nothing = made(origin="lidar")
    both = settled(nothing, ("506", LineString([(0, 0), (200, 0)])), ("503", LineString([(0, 90), (200, 90)])))
    assert len(both.features) == 2
    assert list(both.disagreements["look_at"]) == ["way 503 of county.gpkg: is it here?"]


def test_building_on_both_keeps_the_roof_that_lidar_measured() -> None:
    """One building, with the plan of the roof; one that lidar does not show is taken and asked for."""
    lidar = made(("521", box(0, 0, 10, 8)), origin="lidar")
    both = settled(lidar, ("521", box(1, 1, 11, 9)), ("521", box(50, 0, 60, 8)))
    assert sorted(both.features["origin"]) == ["county.gpkg", "lidar"]
    assert both.features.query("origin == 'lidar'")["evidence"].iloc[0] == "seen; also on county.gpkg"
    assert len(both.disagreements) == 1
    assert both.disagreements.geometry.iloc[0].within(box(50, 0, 60, 8))


def test_borrowed_field_cuts_the_vegetation_under_it() -> None:
    """Areas of vegetation never overlap."""
    lidar = made(("401", box(0, 0, 100, 100)), origin="lidar")
    both = settled(lidar, ("412", box(50, 0, 150, 100)))
    assert both.features.area.sum() == 15000
    assert both.features.geometry.iloc[0].intersection(both.features.geometry.iloc[1]).area == 0


def test_pieces_of_a_road_become_one() -> None:
    """Other maps cut a road where its name changes; junctions stay ends."""
    pieces = [
        ("503", LineString([(0, 0), (100, 0)])),
        ("503", LineString([(100, 0), (200, 0)])),
        ("505", LineString([(100, 0), (100, 80)])),
    ]
    lines = settled(made(origin="lidar"), *pieces).features
    assert sorted(lines.length) == [80, 200]
