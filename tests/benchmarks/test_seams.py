"""The check for seams finds a seam that is there."""

import geopandas as gpd
import shapely
from shapely.geometry.base import BaseGeometry

from tests.benchmarks.seams import RIM_M, _rows, borders_within

BORDERS = borders_within((0.0, 0.0, 200.0, 200.0), 100.0)
RIM = shapely.buffer(BORDERS, RIM_M, cap_style="square")
BOULDERS = [shapely.Point(30, 40), shapely.Point(100.4, 60), shapely.Point(150, 160)]
CONTOUR = shapely.LineString([(20, 50), (90, 55), (100, 56), (110, 57), (180, 60)])


def draft(*shapes: BaseGeometry, symbol: str = "204") -> gpd.GeoDataFrame:
    """A layer of features that all say the same."""
    words = {"symbol": [symbol] * len(shapes), "evidence": ["made"] * len(shapes)}
    return gpd.GeoDataFrame(words, geometry=list(shapes), crs="EPSG:25832")


def found(one: gpd.GeoDataFrame, many: gpd.GeoDataFrame) -> tuple[int, int]:
    """How many features differ, and how many of them more than the rim off a border."""
    ((*_, differ, far),) = _rows("layer", one, many, RIM)
    return int(differ), int(far)


def moved(place: int, by_m: float) -> shapely.LineString:
    """The contour with one vertex moved north."""
    corners = list(CONTOUR.coords)
    corners[place] = (corners[place][0], corners[place][1] + by_m)
    return shapely.LineString(corners)


def test_without_a_seam_none_is_found() -> None:
    """The same features in another order."""
    assert found(draft(*BOULDERS), draft(*BOULDERS[::-1])) == (0, 0)
    assert found(draft(CONTOUR, symbol="101"), draft(CONTOUR, symbol="101")) == (0, 0)


def test_a_lost_point_is_found() -> None:
    """Beside the border, where the fields on both sides left it to the other, and far from it."""
    assert found(draft(*BOULDERS), draft(BOULDERS[0], BOULDERS[2])) == (1, 1)
    assert found(draft(*BOULDERS), draft(*BOULDERS[1:])) == (1, 1)


def test_a_doubled_point_is_found() -> None:
    """Drawn by both fields in the very same place."""
    assert found(draft(*BOULDERS), draft(*BOULDERS, BOULDERS[1])) == (1, 1)
    assert found(draft(*BOULDERS), draft(*BOULDERS, BOULDERS[2])) == (1, 1)


def test_a_line_that_is_off_at_the_border_is_found() -> None:
    """A vertex on the border half a metre off moves the line for ten metres on both sides: both drafts' lines count."""
    assert found(draft(CONTOUR, symbol="101"), draft(moved(2, 0.5), symbol="101")) == (2, 2)


def test_a_line_in_two_pieces_is_found() -> None:
    """Cut at the border and not joined again."""
    pieces = [shapely.LineString(CONTOUR.coords[:3]), shapely.LineString(CONTOUR.coords[2:])]
    assert found(draft(CONTOUR, symbol="101"), draft(*pieces, symbol="101")) == (3, 3)


def test_a_line_that_differs_only_within_the_rim_is_told_apart() -> None:
    """It counts among those that differ, and not among those off the border."""
    corners = list(CONTOUR.coords)
    corners[2:3] = [(99.5, 55.95), (100, 56.4), (100.5, 56.05)]
    assert found(draft(CONTOUR, symbol="101"), draft(shapely.LineString(corners), symbol="101")) == (2, 0)
