"""Composing the draft: clipping, collisions, names."""

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon, box

from pipeline.draft.clipping import clip
from pipeline.draft.collisions import resolve_areas, resolve_lines, resolve_points
from pipeline.draft.compose import LAYERS, compose_draft
from pipeline.features import join_features, make_features
from pipeline.norm.symbols import SymbolTable
from tests.paths import symbols

CRS = "EPSG:25832"


def feature(geometry: object, symbol: str, confidence: float = 0.5, **numbers: float) -> gpd.GeoDataFrame:
    """One feature."""
    return make_features(
        [geometry], crs=CRS, symbol=symbol, confidence=confidence, evidence="made for a test", **numbers
    )


def turn(line: LineString) -> float:
    """1 where the line bends left after its fourth vertex, -1 where it bends right."""
    (east_a, north_a), (east_b, north_b) = np.diff(np.array(line.coords), axis=0)[3:5]
    return float(np.sign(east_a * north_b - north_a * east_b))


@pytest.fixture(scope="module")
def table() -> SymbolTable:
    """The project's own symbol table."""
    return symbols()


def test_a_clipped_contour_keeps_its_direction() -> None:
    """The higher ground stays on the left, in both directions and for a ring."""
    outline = box(0, 0, 10, 10)
    for line in (LineString([(-5, 5), (15, 5)]), LineString([(15, 5), (-5, 5)])):
        part = clip(feature(line, "101"), outline, min_part_m=0).geometry[0]
        assert (part.coords[-1][0] > part.coords[0][0]) == (line.coords[-1][0] > line.coords[0][0])
    ring = LineString(Point(10, 5).buffer(4).exterior.coords)
    parts = clip(feature(ring, "101"), outline, min_part_m=0)
    assert len(parts) == 1, "a ring cut once is one line, not two that meet at its first vertex"
    assert turn(ring) == turn(parts.geometry[0])


def test_clipping_gives_single_parts_inside() -> None:
    """A polygon that leaves and comes back becomes two; points outside go."""
    outline = box(0, 0, 10, 10)
    comb = Polygon([(2, 5), (2, 15), (8, 15), (8, 5), (7, 5), (7, 12), (3, 12), (3, 5)])
    parts = clip(join_features([feature(comb, "408"), feature(Point(20, 20), "204")], CRS), outline, min_part_m=0.1)
    assert list(parts.geom_type) == ["Polygon", "Polygon"]
    assert parts.within(outline.buffer(1e-9)).all()


def test_an_area_that_meets_the_outline_in_a_line_stays_an_area() -> None:
    """Where an edge runs along the outline and leaves it, no line is left over; one that only touches is gone."""
    outline = box(0, 0, 10, 10)
    half_inside = Polygon([(5, 5), (12, 5), (12, 8), (10, 8), (10, 9), (5, 9)])
    beside = box(10, 0, 12, 2)
    stair = Polygon([(8, 2), (10, 2), (10, 4), (12, 4), (12, 6), (10, 6), (10, 9), (12, 9), (12, 1), (8, 1)])
    parts = clip(
        join_features([feature(p, "600.1") for p in (half_inside, beside, stair)], CRS), outline, min_part_m=0.1
    )
    assert set(parts.geom_type) == {"Polygon"}
    assert parts.area.sum() == pytest.approx(5 * 4 + 2)


def test_a_gully_or_bank_gives_way_to_the_water_in_it() -> None:
    """Along most of its length it goes; crossing it, or elsewhere, it stays."""
    stream = feature(LineString([(0, 0), (100, 0)]), "306")
    wet = feature(LineString([(10, 3), (60, 3)]), "108")
    bank = feature(LineString([(10, -6), (40, -7)]), "104")
    crossing = feature(LineString([(50, -40), (50, 40)]), "107")
    kept, dropped = resolve_lines(join_features([stream, wet, bank, crossing], CRS))
    assert sorted(kept["symbol"]) == ["107", "306"]
    assert sorted(dropped["symbol"]) == ["104", "108"]
    assert set(dropped["reason"]) == {"it is the bed of a watercourse"}
    assert list(resolve_lines(wet)[0]["symbol"]) == ["108"]


def test_a_thing_is_a_wall_or_a_cliff_and_a_corridor_is_no_ride() -> None:
    """Cliff, earth wall and ride go beside a wall and under wires; those that only cross stay."""
    line = LineString([(0, 0), (100, 0)])
    across = LineString([(50, -50), (50, 50)])
    shapes = [("513", line), ("202", line), ("105", across), ("511", line), ("508.2", line), ("508", across)]
    parts = [make_features([shape], crs=CRS, symbol=number, confidence=0.5, evidence="") for number, shape in shapes]
    kept, dropped = resolve_lines(join_features(parts, CRS))
    assert sorted(kept["symbol"]) == ["105", "508", "511", "513"]
    assert dict(zip(dropped["symbol"], dropped["reason"], strict=True)) == {
        "202": "it is a wall",
        "508.2": "it is the corridor of a power line",
    }


def test_a_gully_or_ride_along_a_track_is_the_track() -> None:
    """What runs along a track for most of its length goes; what crosses it stays, as does what no track runs along."""
    track = feature(LineString([(0, 0), (100, 0)]), "504")
    lane = feature(LineString([(0, 2), (90, 2)]), "107")
    opening = feature(LineString([(10, -3), (120, -3)]), "508.2")
    crossing = feature(LineString([(50, -60), (50, 60)]), "508")
    kept, dropped = resolve_lines(join_features([track, lane, opening, crossing], CRS))
    assert sorted(kept["symbol"]) == ["504", "508"]
    assert sorted(dropped["symbol"]) == ["107", "508.2"]
    assert sorted(resolve_lines(join_features([lane, crossing], CRS))[0]["symbol"]) == ["107", "508"]


def test_of_a_ride_and_a_path_in_it_the_surer_stays() -> None:
    """A plain ride is not lost to a doubtful path, nor a path of another map to a ride."""
    path = feature(LineString([(0, 0), (200, 0)]), "505", confidence=0.5)
    road = feature(LineString([(0, -2), (200, -2)]), "502", confidence=0.5)
    ride = feature(LineString([(0, 2), (250, 2)]), "508.2", confidence=0.9)
    kept, dropped = resolve_lines(join_features([path, ride], CRS).assign(status="draft"))
    assert list(zip(kept["symbol"], kept["status"], strict=True)) == [("505", "candidate"), ("508.2", "draft")]
    assert list(zip(dropped["symbol"], dropped["what"], strict=True)) == [("505", "not drawn")]
    doubtful = join_features([path.assign(status="candidate"), ride.assign(status="draft")], CRS)
    kept, dropped = resolve_lines(doubtful)
    assert list(kept["status"]) == ["candidate", "draft"], "to be looked at, in the ride"
    assert len(dropped) == 0
    assert list(resolve_lines(join_features([road, ride], CRS))[0]["symbol"]) == ["502"], "a road is a road"
    mapped = path.assign(origin="county map", status="imported")
    assert list(resolve_lines(join_features([mapped, ride.assign(origin="lidar")], CRS))[0]["symbol"]) == ["505"]


def test_vegetation_gives_way_to_water() -> None:
    """A pond in a thicket leaves a hole in the green."""
    both = join_features([feature(box(0, 0, 30, 30), "410"), feature(box(10, 10, 20, 20), "302")], CRS)
    resolved, _ = resolve_areas(both)
    green = resolved[resolved.symbol == "410"].geometry.iloc[0]
    assert green.area == pytest.approx(800)
    assert resolved[resolved.symbol == "302"].area.iloc[0] == pytest.approx(100)


def test_bare_rock_gives_way_to_water_and_lies_on_open_land() -> None:
    """Whether dark ground is rock is a guess, so the open land below stays; water is no guess."""
    parts = [
        feature(box(0, 0, 40, 40), "401"),
        feature(box(0, 0, 20, 20), "214", 0.3),
        feature(box(10, 0, 20, 20), "301"),
    ]
    kept, _ = resolve_areas(join_features(parts, CRS))
    area = kept.dissolve("symbol").area
    assert area["214"] == pytest.approx(200)
    assert area["401"] == pytest.approx(1400)


def test_of_two_symbols_for_one_thing_the_surer_stays() -> None:
    """A boulder and a knoll two metres apart are one thing; two boulders are the theme's own affair."""
    both = join_features([feature(Point(0, 0), "109", 0.4), feature(Point(2, 0), "204", 0.7)], CRS)
    assert list(resolve_points(both)[0].symbol) == ["204"]
    same = join_features([feature(Point(0, 0), "204", 0.4), feature(Point(2, 0), "204", 0.7)], CRS)
    assert len(resolve_points(same)[0]) == 2


def test_a_boulder_that_is_a_stretch_of_a_wall_goes_and_one_beside_it_stays() -> None:
    """A wall has higher stretches, which are lumps of stone; the list of what was left out says why."""
    wall = feature(LineString([(0, 0), (30, 0)]), "513")
    points = [feature(Point(10, 1.0), "204"), feature(Point(20, 2.5), "204"), feature(Point(25, 0), "109")]
    kept, dropped = resolve_points(join_features([wall, *points], CRS))
    assert sorted(kept.symbol) == ["109", "204", "513"]
    assert kept[kept.symbol == "204"].geometry.iloc[0] == Point(20, 2.5)
    assert list(dropped.symbol) == ["204"]
    fence = feature(LineString([(0, 0), (30, 0)]), "516")
    assert len(resolve_points(join_features([fence, points[0]], CRS))[0]) == 2


@pytest.mark.parametrize(
    ("one", "other", "stays"),
    [
        (("204", 0.3), ("417", 0.7), "204"),
        (("112", 0.45), ("418", 0.5), "112"),
        (("203.1", 0.4), ("417", 0.7), "203.1"),
        (("303", 0.3), ("418", 0.5), "303"),
        (("112", 0.3), ("203.1", 0.4), "112"),
        (("205", 0.4), ("109", 0.6), "109"),
        (("205", 0.6), ("109", 0.4), "205"),
    ],
)
def test_confidences_are_compared_within_one_kind_only(
    one: tuple[str, float], other: tuple[str, float], stays: str
) -> None:
    """A lone tree's constant says nothing against a boulder's measured odds: rock, ground and water come first.

    Boulders, knolls and pits have measured confidences, and there the surer stays.
    """
    for pair in ((one, other), (other, one)):
        points = [feature(Point(2.0 * n, 0), symbol, sure) for n, (symbol, sure) in enumerate(pair)]
        kept, dropped = resolve_points(join_features(points, CRS))
        assert list(kept["symbol"]) == [stays]
        assert len(dropped) == 1


def test_what_lidar_alone_cannot_tell_is_a_candidate(table: SymbolTable) -> None:
    """Sand, yards, cairns, huts and stands, however sure their shape; all else as likely is a draft."""
    areas = [feature(box(40 * n, 0, 40 * n + 30, 30), symbol, 0.9) for n, symbol in enumerate(("213", "501", "401"))]
    points = [feature(Point(20 * n, 60), symbol, 0.9) for n, symbol in enumerate(("526", "530", "531", "204"))]
    draft = compose_draft([*areas, *points], box(-10, -10, 200, 100), crs=CRS, north_deg=0.0, symbols=table)
    status = {row.symbol: row.status for layer in draft.layers.values() for row in layer.itertuples()}
    assert status == dict.fromkeys(("213", "501", "526", "530", "531"), "candidate") | {"401": "draft", "204": "draft"}


def test_a_candidate_takes_nothing_away() -> None:
    """Of a hut and a boulder on one spot the boulder stays, however unsure; a yard gives way to a house."""
    points = [feature(Point(0, 0), "530", 0.4), feature(Point(1, 0), "204", 0.1)]
    assert list(resolve_points(join_features(points, CRS))[0].symbol) == ["204"]
    yard = join_features([feature(box(0, 0, 40, 40), "501"), feature(box(0, 0, 20, 40), "521")], CRS)
    kept = resolve_areas(yard)[0].set_index("symbol")
    assert kept.geometry["501"].area == pytest.approx(800)
    assert kept.geometry["521"].area == pytest.approx(800)


def test_a_boulder_on_a_roof_goes() -> None:
    """Chimneys are not boulders."""
    both = join_features([feature(box(0, 0, 10, 8), "521"), feature(Point(5, 5), "204", 0.9)], CRS)
    assert list(resolve_points(both)[0].symbol) == ["521"]


def test_the_draft_has_all_layers_and_turns_angles_to_magnetic_north(table: SymbolTable) -> None:
    """Empty layers are there; an angle of 30 degrees from the grid is 27 where magnetic north is 3 degrees east."""
    draft = compose_draft(
        [feature(Point(5, 5), "110", angle_deg=30.0)], box(-20, -20, 30, 30), crs=CRS, north_deg=3.0, symbols=table
    )
    assert tuple(draft.layers) == LAYERS
    assert sum(len(layer) for layer in draft.layers.values()) == 1
    knoll = draft.layers["landform_point"].iloc[0]
    assert (knoll.angle_deg, knoll.status, knoll.origin) == (27.0, "draft", "lidar")
    assert "knoll" in knoll["name"].lower()


def test_nothing_found_disappears_without_a_line(table: SymbolTable) -> None:
    """Every feature inside the area is drawn or listed with its reason, whatever rule took it out."""
    parts = [
        feature(box(0, 0, 30, 30), "521"),
        feature(Point(10, 10), "204", 0.9),
        feature(Point(100, 100), "109", 0.4),
        feature(Point(102, 100), "204", 0.7),
        feature(LineString([(0, 200), (100, 200)]), "306"),
        feature(LineString([(10, 203), (60, 203)]), "108"),
        feature(box(5, 5, 25, 25), "408"),
        feature(box(300, 300, 310, 310), "406"),
    ]
    composed = compose_draft(parts, box(-10, -10, 500, 500), crs=CRS, north_deg=0.0, symbols=table)
    drawn = [symbol for layer in composed.layers.values() for symbol in layer["symbol"]]
    assert sorted(drawn) == ["204", "306", "521"]
    reasons = dict(zip(composed.left_out["symbol"], composed.left_out["reason"], strict=True))
    assert reasons["109"] == "another point symbol stands for the same thing"
    assert reasons["204"] == "on a building or in water"
    assert reasons["108"] == "it is the bed of a watercourse"
    assert reasons["408"] == "wholly under water or a building"
    assert reasons["406"] == "100 m2, and the norm draws none below 225 m2"
    assert len(drawn) + len(composed.left_out) == len(parts)


def test_of_many_boulders_the_lesser_are_listed_and_stay_as_candidates(table: SymbolTable) -> None:
    """Doubtful ones go by what is drawn in the end; the list names each that could have been drawn."""
    parts = [feature(Point(20.0 * (n % 8), 20.0 * (n // 8)), "204", 0.9, height_m=1 + n / 64) for n in range(64)]
    parts += [feature(Point(1000, 0), "204", 0.6, height_m=2.0)]
    composed = compose_draft(parts, box(-50, -50, 1050, 300), crs=CRS, north_deg=0.0, symbols=table)
    boulders = composed.layers["rock_point"]
    proposed = boulders[boulders["status"] == "candidate"]
    assert len(boulders) == 65
    assert boulders["id"].is_unique
    assert boulders.loc[boulders["status"] == "draft", "confidence"].mean() >= 0.7
    assert proposed["evidence"].str.contains("too few surer boulders around").sum() == 1
    assert len(composed.left_out) == len(proposed) - 1 > 20
    assert set(composed.left_out["what"]) == {"not drawn"}
    assert set(composed.left_out["reason"]) == {"less prominent than other boulders within 45 m"}
