"""Features cut at the edges of fields, and joined again."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from scipy import ndimage
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Point, Polygon, box

from pipeline.draft.joining import MEET_M, join_fields
from pipeline.features import join_features, make_features, no_features
from pipeline.lattice.fields import fields_over
from pipeline.lattice.grid import Grid
from pipeline.outlines.cutting import cut_to_core

CRS = "EPSG:25832"
FIELD_M = 100.0
FIELDS = fields_over([(-100.0, 0.0, 100.0, 200.0)], field_m=FIELD_M, one_field_m2=0)

BORDERS = shapely.MultiLineString([[(0, -1), (0, 201)], [(-101, 100), (101, 100)]])


def table(shapes: list[shapely.Geometry], symbol: list[str] | str = "104", **numbers: float) -> gpd.GeoDataFrame:
    """Features of one symbol."""
    return make_features(shapes, crs=CRS, symbol=symbol, confidence=0.5, evidence="made", **numbers)


def cut_and_joined(features: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The features drawn by four fields and joined."""
    return join_fields([cut_to_core(features, field.core) for field in FIELDS], field_m=FIELD_M, crs=CRS)


def shapes_of(features: gpd.GeoDataFrame) -> list[shapely.Geometry]:
    """Shapes in an order that does not depend on how they were made."""
    shapes = shapely.normalize(features.geometry.to_numpy())
    return list(shapes[np.argsort(shapely.to_wkt(shapely.centroid(shapes), rounding_precision=3))])


def assert_same_shapes(made: gpd.GeoDataFrame, wanted: gpd.GeoDataFrame) -> None:
    """Both hold the same shapes, vertex by vertex but for those that lie straight between others."""
    assert len(made) == len(wanted)
    for one, other in zip(shapes_of(made), shapes_of(wanted), strict=True):
        assert one.geom_type == other.geom_type
        assert one.is_valid
        assert shapely.hausdorff_distance(one, other) < 1e-6
        assert one.length == pytest.approx(other.length, abs=1e-6)


def test_fields_lie_side_by_side() -> None:
    """Two by two fields of 100 m, those left of zero with a name that no option can be taken for."""
    assert [field.name for field in FIELDS] == ["w1_n0", "w1_n1", "e0_n0", "e0_n1"]


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 2**32 - 1))
@example(2_313_081_836)
def test_lines_are_the_same_after_cutting_and_joining(seed: int) -> None:
    """Winding lines, direction kept: each comes back with its vertices in order, rings as rings."""
    random = np.random.default_rng(seed)
    lines = []
    for _ in range(12):
        steps = random.normal(0, 12, (random.integers(3, 40), 2))
        line = np.cumsum(steps, axis=0) + random.uniform([-90, 10], [90, 190])
        line = 99 - np.abs((line + np.array([99, -1])) % 396 - 198) + np.array([0, 100])
        lines.append(LineString(np.concatenate((line, line[:1])) if random.random() < 0.4 else line))
    # Where lines cross a border within a millimetre of each other it is a fork to the code, and nothing is joined.
    crossings = shapely.get_coordinates(shapely.intersection(lines, BORDERS))
    assume(not cKDTree(crossings).query_pairs(2 * MEET_M) if len(crossings) else True)
    made = cut_and_joined(table(lines))
    assert len(made) == len(lines)
    assert made.geometry.length.sum() == pytest.approx(sum(line.length for line in lines))
    wanted = {_directed(line) for line in lines}
    assert {_directed(line) for line in made.geometry} == wanted


def _directed(line: LineString) -> tuple[tuple[float, float], ...]:
    """Vertices in the order drawn to 0.1 mm, straight ones left out, rings from their southernmost vertex on."""
    nodes = np.round(shapely.get_coordinates(line), 4)
    nodes = nodes[np.r_[True, (np.diff(nodes, axis=0) != 0).any(axis=1)]]
    if line.is_closed:
        start = int(np.lexsort((nodes[:-1, 0], nodes[:-1, 1]))[0])
        nodes = np.roll(nodes[:-1], -start, axis=0)
    return tuple(map(tuple, nodes.tolist()))


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1), st.floats(0.2, 0.8))
def test_areas_are_the_same_after_cutting_and_joining(seed: int, share: float) -> None:
    """A coverage of two symbols along cells, whose edges meet the borders in all ways: every piece finds its other."""
    random = np.random.default_rng(seed)
    field = ndimage.gaussian_filter(random.normal(size=(50, 50)), 1.5)
    cells = field > np.quantile(field, share)
    grid = Grid(CRS, -25, 50, 4.0, 50, 50)
    shapes, symbols = _polygons_of(cells, grid)
    wanted = table(shapes, symbols)
    made = cut_and_joined(wanted)
    for symbol in set(symbols):
        assert_same_shapes(made[made.symbol == symbol], wanted[wanted.symbol == symbol])


def _polygons_of(cells: np.ndarray, grid: Grid) -> tuple[list[Polygon], list[str]]:
    from rasterio.features import shapes

    found = list(shapes(cells.astype(np.uint8), transform=grid.transform))
    return [shapely.geometry.shape(part) for part, _ in found], [("401", "406")[int(value)] for _, value in found]


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1))
@example(44822)  # a sliver that shares a fifth of a millimetre of a border
def test_blobs_are_the_same_after_cutting_and_joining(seed: int) -> None:
    """Areas with edges in any direction, some with holes."""
    random = np.random.default_rng(seed)
    blobs = shapely.buffer(shapely.points(random.uniform([-80, 20], [80, 180], (14, 2))), random.uniform(2, 20, 14))
    holes = shapely.buffer(shapely.points(random.uniform([-80, 20], [80, 180], (6, 2))), 4)
    left = shapely.difference(shapely.union_all(blobs), shapely.union_all(holes))
    parts = [part for part in shapely.get_parts(left) if part.area > 1e-3]
    assert_same_shapes(cut_and_joined(table(parts, "406")), table(parts, "406"))


@given(st.lists(st.tuples(st.integers(-100, 99), st.integers(0, 199)), unique=True, max_size=30))
def test_no_point_is_lost_or_doubled(places: list[tuple[int, int]]) -> None:
    """Points on borders and corners of fields belong to one field each."""
    made = cut_and_joined(table([Point(place) for place in places], "204") if places else no_features(CRS))
    assert sorted((point.x, point.y) for point in made.geometry) == sorted(places)


def test_a_line_along_a_border_belongs_to_one_field() -> None:
    """A line that comes from one field, runs along the border and goes back is one line, not three and a double."""
    line = LineString([(-20, 50), (0, 50), (0, 70), (-20, 70), (20, 90)])
    made = cut_and_joined(table([line]))
    assert made.geometry.iloc[0].equals(line)
    assert len(made) == 1
    assert made.length.sum() == pytest.approx(line.length)


def test_a_line_that_runs_through_the_corner_of_four_fields_stays_one() -> None:
    """The corner is an end of both pieces."""
    line = LineString([(-20, 80), (20, 120)])
    assert [made.equals(line) for made in cut_and_joined(table([line])).geometry] == [True]


def test_a_fork_on_a_border_is_not_joined() -> None:
    """Three lines that meet on a border do not say which goes on where."""
    lines = [LineString([(-20, 50), (0, 50)]), LineString([(0, 50), (20, 60)]), LineString([(0, 50), (20, 40)])]
    assert len(cut_and_joined(table(lines))) == 3


def test_contours_of_two_levels_are_not_joined() -> None:
    """Lines of one symbol that meet on a border are two lines where their elevations differ."""
    low = table([LineString([(-20, 50), (0, 50)])], "101", elevation_m=100.0)
    high = table([LineString([(0, 50), (20, 50)])], "101", elevation_m=105.0)
    assert len(join_fields([low, high], field_m=FIELD_M, crs=CRS)) == 2
    same = table([LineString([(0, 50), (20, 50)])], "101", elevation_m=100.0)
    joined = join_fields([low, same], field_m=FIELD_M, crs=CRS)
    assert list(joined.length) == [40.0]
    assert list(joined.elevation_m) == [100.0]


def test_a_building_is_never_cut() -> None:
    """It belongs to the field that its middle lies in, and touching neighbours are not made one."""
    left, right = box(-30, 40, 10, 60), box(-2, 70, 30, 90)
    made = cut_and_joined(table([left, right], "521"))
    assert sorted(made.area) == [640.0, 800.0]
    terrace = [box(-10, 10, 0, 20), box(0, 10, 10, 20)]
    assert len(cut_and_joined(table(terrace, "521"))) == 2


def test_joined_pieces_have_the_mean_and_the_words_of_the_largest() -> None:
    """Confidence by area, evidence of the largest piece, sums added up and handed to who words them anew."""
    left, right = table([box(-30, 0, 0, 10)], "406"), table([box(0, 0, 10, 10)], "406")
    left["confidence"], left["evidence"], left["_sum_seen_m2"] = 0.8, "left", 200.0
    right["confidence"], right["evidence"], right["_sum_seen_m2"] = 0.4, "right", 50.0
    joined = join_fields([left, right], field_m=FIELD_M, crs=CRS)
    assert list(joined.evidence) == ["left"]
    assert joined.confidence.tolist() == pytest.approx([0.7])
    assert "_sum_seen_m2" not in joined

    def worded(features: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        return features.assign(evidence=[f"{seen:.0f} m2 seen" for seen in features["_sum_seen_m2"]])

    anew = join_fields([left, right], field_m=FIELD_M, crs=CRS, rewrite=worded)
    assert list(anew.evidence) == ["250 m2 seen"]


def test_empty_fields_are_no_obstacle() -> None:
    """Fields in which nothing was found add nothing."""
    nothing = no_features(CRS)
    assert len(join_fields([nothing, nothing], field_m=FIELD_M, crs=CRS)) == 0
    assert len(cut_to_core(nothing, FIELDS[0].core)) == 0
    one = table([Point(5, 5)], "204")
    assert len(join_fields([nothing, one], field_m=FIELD_M, crs=CRS)) == 1
    assert len(join_features([cut_to_core(one, FIELDS[0].core)], CRS)) == 0
