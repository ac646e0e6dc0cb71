"""Of many point symbols the prominent stay."""

import geopandas as gpd
import numpy as np
import pytest
from scipy.spatial import cKDTree
from shapely.geometry import Point, box

from pipeline.draft.choosing.prominent import FAMILIES, REACH_MM, choose_prominent
from pipeline.features import join_features, make_features
from pipeline.norm.paper import ground_m
from pipeline.norm.symbols import isom

CRS = "EPSG:25832"
AREA = box(-50, -50, 1050, 1050)
MOST = {family.name: family.most for family in FAMILIES}


def points(places: object, symbol: str, height_m: object) -> gpd.GeoDataFrame:
    """Points that are drawn, all as likely."""
    made = [Point(place) for place in np.asarray(places, float).reshape(-1, 2)]
    table = make_features(made, crs=CRS, symbol=symbol, confidence=0.8, evidence="seen", height_m=height_m)
    return table.assign(status="draft", origin="lidar")


def grid(side: int, step_m: float) -> np.ndarray:
    """(side * side, 2) places on a square."""
    return np.stack(np.meshgrid(np.arange(side), np.arange(side)), axis=-1).reshape(-1, 2) * step_m


def drawn(features: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Those of them that are drawn, after the choice."""
    chosen, _ = choose_prominent(features, AREA)
    return chosen[chosen["status"] == "draft"]


@pytest.mark.parametrize("symbol", ["204", "109", "111", "417"])
def test_few_are_left_alone(symbol: str) -> None:
    """Where they stand apart, or are few, all are drawn and nothing is listed."""
    table = points(grid(4, 60.0), symbol, 2.0)
    chosen, listed = choose_prominent(table, AREA)
    assert list(chosen["status"]) == ["draft"] * 16
    assert listed.empty


@pytest.mark.parametrize(("symbol", "name"), [("204", "boulders"), ("109", "knolls"), ("112", "hollows")])
def test_of_many_the_highest_stay(symbol: str, name: str) -> None:
    """Nowhere stand more within reach than allowed; the highest is there; the others are candidates and listed."""
    rng = np.random.default_rng(3)
    step_m = 1.3 * {"boulders": 15.8, "knolls": 22.5, "hollows": 22.5}[name]
    places, height = grid(12, step_m), rng.uniform(1.0, 3.0, 144)
    chosen, listed = choose_prominent(points(places, symbol, height), AREA)
    stays = chosen[chosen["status"] == "draft"]
    xy = np.column_stack((stays.geometry.x, stays.geometry.y))
    around = [len(near) for near in cKDTree(xy).query_ball_point(xy, ground_m(REACH_MM))]
    # A place is drawn after fewer than the most; later ones may come near to it from other sides.
    assert 10 < len(stays) < 144
    assert np.mean(around) < 2 * MOST[name]
    assert stays["height_m"].max() == height.max()
    assert stays["height_m"].mean() > height.mean() + 0.2
    assert len(listed) == 144 - len(stays)
    assert set(listed["what"]) == {"not drawn"}
    assert (chosen["status"] == "candidate").sum() == len(listed)
    assert (
        chosen.loc[chosen["status"] == "candidate", "evidence"].str.contains(f"less prominent than other {name}").all()
    )


def test_boulders_as_thick_as_the_triangles_of_a_field_are_a_field() -> None:
    """One 208 over all of them; only a boulder of twice the usual height is drawn on it."""
    places = grid(5, 12.0)
    height = np.full(25, 1.2)
    height[12] = 3.0
    chosen, listed = choose_prominent(points(places, "204", height), AREA)
    field = chosen[chosen["symbol"] == "208"]
    assert len(field) == 1
    assert field["status"].iloc[0] == "draft"
    assert all(field.geometry.iloc[0].covers(Point(place)) for place in places)
    assert field.area.iloc[0] < 70 * 70
    assert list(chosen.loc[chosen["symbol"] == "204", "height_m"]) == [3.0]
    assert len(listed) == 24
    assert set(listed["what"]) == {"merged"}


def test_thick_knolls_are_broken_ground_within_the_area() -> None:
    """And no part of it lies beyond the edge."""
    chosen, _ = choose_prominent(points(grid(5, 18.0), "109", 1.2), box(0, 0, 40, 100))
    broken = chosen[chosen["symbol"] == "113"].geometry
    assert len(broken) == 1
    assert broken.iloc[0].within(box(0, 0, 40, 100).buffer(1e-6))
    assert broken.iloc[0].area > 3000
    assert "109" not in set(chosen["symbol"])


def test_a_bush_beside_a_high_tree_is_no_landmark() -> None:
    """The same bush by itself is."""
    tree, bush = points([(0, 0)], "417", 20.0), points([(40, 0)], "418", 4.0)
    assert sorted(drawn(join_features([tree, bush], CRS))["symbol"]) == ["417"]
    assert sorted(drawn(bush)["symbol"]) == ["418"]


@pytest.mark.parametrize(("open_land", "symbol", "scattered"), [("401", "417", "402"), ("403", "418", "404.1")])
def test_many_trees_make_open_land_with_scattered_trees(open_land: str, symbol: str, scattered: str) -> None:
    """Only the part with the trees, both parts large enough for the norm, none overlapping; bushes are dotted green."""
    field = make_features([box(0, 0, 600, 100)], crs=CRS, symbol=open_land, confidence=0.9, evidence="no tree cover")
    trees = points(grid(5, 20.0) + 10, symbol, 10.0)
    chosen, listed = choose_prominent(join_features([field.assign(status="draft", origin="lidar"), trees], CRS), AREA)
    area = chosen[chosen.geom_type == "Polygon"].dissolve("symbol").area
    assert set(area.index) == {open_land, scattered}
    assert area.sum() == pytest.approx(60_000)
    assert area[scattered] == pytest.approx(100 * 112.5, rel=0.1)
    left = chosen[chosen["symbol"] == symbol]
    assert set(left["status"]) == {"draft"}
    assert len(left) + len(listed) == 25
    assert len(left) < 10


def test_a_small_clearing_takes_scattered_trees_whole() -> None:
    """No sliver of plain open land is left beside; and with none around, the trees are candidates."""
    clearing = make_features([box(-5, -5, 50, 50)], crs=CRS, symbol="401", confidence=0.9, evidence="no tree cover")
    trees = points(grid(4, 15.0), "417", 10.0)
    chosen, _ = choose_prominent(join_features([clearing.assign(status="draft", origin="lidar"), trees], CRS), AREA)
    areas = chosen[chosen.geom_type == "Polygon"]
    assert list(areas["symbol"]) == ["402"]
    assert areas.area.iloc[0] == pytest.approx(55 * 55)
    chosen, listed = choose_prominent(trees, AREA)
    assert (chosen["status"] == "candidate").sum() == len(listed) > 8


def test_what_others_mapped_is_not_chosen_from() -> None:
    """Whoever drew it has chosen."""
    table = points(grid(6, 12.0), "204", 1.2).assign(status="imported")
    chosen, listed = choose_prominent(table, AREA)
    assert list(chosen["status"]) == ["imported"] * 36
    assert listed.empty


def test_the_triangles_of_a_field_are_as_far_apart_as_the_norm_draws_them() -> None:
    """Between the least and the most distance that the norm gives, 0.75 and 1.2 mm."""
    boulders = next(family for family in FAMILIES if family.name == "boulders")
    assert ground_m(isom("208").mm("spacing_mm")) < boulders.link_m < ground_m(1.2)
