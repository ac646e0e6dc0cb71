"""Gullies, walls and banks on ground made for them, and on ground that has none."""

import numpy as np
import pytest
import shapely

from pipeline.draft.joining import EITHER_WAY
from pipeline.features import make_features, no_features
from pipeline.landform.lines.line_pieces import put_together
from pipeline.landform.shapes import banks as banks_of_ground
from pipeline.landform.shapes import gullies, walls
from pipeline.landform.shapes.edges import THINNED_M
from pipeline.landform.telling import tell
from pipeline.lattice.grid import Grid, Heights
from tests import landscape

GRID = landscape.grid_of(side_m=160)
SEEN = np.full(GRID.shape, 0.9, np.float32)


def draft_gullies(*rasters):
    """Gullies as they are drawn at last."""
    return tell(put_together(gullies.draft_gullies(*rasters), either_way=EITHER_WAY))


def draft_walls(*rasters):
    """Walls as they are drawn at last."""
    return tell(put_together(walls.draft_walls(*rasters), either_way=EITHER_WAY))


def draft_banks(*rasters, min_slope_deg: float):
    """Banks as they are drawn at last."""
    return tell(put_together(banks_of_ground.draft_banks(*rasters, min_slope_deg=min_slope_deg)))


def with_noise(ground: Heights) -> Heights:
    """What a good survey makes of it."""
    return ground + landscape.noise(GRID, spread_m=0.05)


def slope_with(shape: Heights, *, rise_deg: float = 10.0) -> Heights:
    """A slope rising north with something added."""
    return with_noise(landscape.plane(GRID, rise_deg=rise_deg) + shape)


@pytest.mark.parametrize(("depth_m", "symbol"), [(2.0, "107"), (1.1, "108")])
def test_a_furrow_is_a_gully_of_its_depth(depth_m: float, symbol: str) -> None:
    """A furrow 80 m long down the slope: one line along its bottom, 107 where deep, 108 where shallow."""
    furrow = landscape.furrow(GRID, depth_m=depth_m, half_width_m=3, length_m=80)
    found = draft_gullies(slope_with(furrow), GRID, SEEN, GRID)
    assert found.symbol.tolist() == [symbol]
    line = found.geometry[0]
    assert line.length == pytest.approx(80, abs=10)
    east = np.asarray(line.coords)[:, 0]
    np.testing.assert_allclose(east[1:-1], landscape.middle_of(GRID)[0], atol=1.5)
    # One metre cells and the smoothing of the survey take up to half of a furrow 6 m wide.
    assert 0.5 * depth_m <= found.height_m[0] <= depth_m


def test_a_sunken_lane_is_two_banks_and_no_gully() -> None:
    """2.3 m deep along 80 m, its floor 3 m and each side 2.4 m wide; the same depth with a sharp bottom is a gully."""
    x, y = landscape.from_middle(GRID)
    depth = 2.3 * np.clip((1.5 + 2.4 - np.abs(x)) / 2.4, 0, 1) * (np.abs(y) <= 40)
    ground = slope_with(landscape.as_heights(-depth), rise_deg=3)
    gully = draft_gullies(ground, GRID, SEEN, GRID)
    assert gully.geometry.length.sum() < 20
    found = draft_banks(ground, GRID, SEEN, GRID, gully, min_slope_deg=22)
    assert set(found.symbol) == {"104"}
    middle = landscape.middle_of(GRID)
    for side in (-1, 1):
        brink = shapely.box(middle[0] + side * 3.9 - 1, middle[1] - 35, middle[0] + side * 3.9 + 1, middle[1] + 35)
        assert found.geometry.intersection(brink).length.sum() > 60
    floor = shapely.box(middle[0] - 2, middle[1] - 35, middle[0] + 2, middle[1] + 35)
    assert not found.geometry.intersects(floor).any()


def test_a_wide_valley_is_no_gully() -> None:
    """A re-entrant 40 m wide is left to the contours."""
    ground = with_noise(landscape.ribbed_slope(GRID, rise_deg=15, width_m=40, depth_m=8))
    assert len(draft_gullies(ground, GRID, SEEN, GRID)) == 0


def test_a_valley_with_straight_sides_is_no_gully_but_a_notch_in_it_is() -> None:
    """Sides of 20 degrees that meet in a line 15 m below them are a valley; cut 1.8 m deeper it holds a gully."""
    valley = landscape.furrow(GRID, depth_m=15, half_width_m=40, length_m=400)
    assert len(draft_gullies(slope_with(valley), GRID, SEEN, GRID)) == 0
    notch = landscape.furrow(GRID, depth_m=1.8, half_width_m=2.5, length_m=80)
    found = draft_gullies(slope_with(valley + notch), GRID, SEEN, GRID)
    assert len(found) == 1
    assert found.geometry[0].length == pytest.approx(80, abs=12)


def test_large_troughs_round_about_do_not_hide_a_gully() -> None:
    """On a slope ribbed by re-entrants 8 m deep a gully of 1.8 m is found all the same."""
    ribs = landscape.ribbed_slope(GRID, rise_deg=15, width_m=40, depth_m=8)
    x, y = landscape.from_middle(GRID)
    furrow = landscape.as_heights(-1.8 * np.clip(1 - np.abs(x - 20) / 2.5, 0, 1) * (np.abs(y) < 30))
    found = draft_gullies(with_noise(ribs + furrow), GRID, SEEN, GRID)
    assert len(found) == 1
    assert found.geometry[0].length == pytest.approx(60, abs=12)


@pytest.mark.parametrize(("height_m", "symbol"), [(2.0, "105"), (1.2, "106")])
def test_a_ridge_is_a_wall_of_its_height(height_m: float, symbol: str) -> None:
    """A wall 80 m long: 105 where it stands a metre high, 106 where lower and long enough."""
    wall = landscape.furrow(GRID, depth_m=-height_m, half_width_m=3, length_m=80)
    found = draft_walls(slope_with(wall), GRID, SEEN, GRID)
    assert found.symbol.tolist() == [symbol]
    assert found.geometry[0].length == pytest.approx(80, abs=10)


def test_a_low_wall_must_be_long() -> None:
    """A ruined wall of 40 m is below the standard's two dashes of 55 m (ISOM 106)."""
    wall = landscape.furrow(GRID, depth_m=-1.2, half_width_m=3, length_m=40)
    assert len(draft_walls(slope_with(wall), GRID, SEEN, GRID)) == 0


def banks(heights: Heights, grid: Grid, seen: Heights, seen_grid: Grid):
    """Banks where nothing else was found."""
    return draft_banks(heights, grid, seen, seen_grid, no_features(grid.crs), min_slope_deg=22)


def bank(*, face_m: float, height_m: float) -> Heights:
    """A step rising north across the middle, 60 m long, on a gentle slope."""
    x, y = landscape.from_middle(GRID)
    step = height_m * np.clip(y / face_m + 0.5, 0, 1)
    # Beyond its ends the step runs out into the slope over 20 m.
    share = np.clip(1.5 - np.abs(x) / 20, 0, 1)
    return slope_with(landscape.as_heights(step * share), rise_deg=3)


def test_a_step_is_a_bank_with_the_high_side_left() -> None:
    """2 m high over 4 m: 104 along its upper edge, running east, with height and plan extent."""
    found = banks(bank(face_m=4, height_m=2), GRID, SEEN, GRID)
    assert found.symbol.tolist() == ["104"]
    line = np.asarray(found.geometry[0].coords)
    assert line[-1, 0] - line[0, 0] > 15
    north = line[:, 1] - landscape.middle_of(GRID)[1]
    assert 0.5 < np.median(north) < 4
    assert 1.2 <= found.height_m[0] <= 2.1


@pytest.mark.parametrize(("face_m", "height_m"), [(4.0, 0.6), (20.0, 2.0), (0.5, 6.0)])
def test_low_gentle_and_sheer_steps_are_no_banks(face_m: float, height_m: float) -> None:
    """Below the standard's metre, gentler than a face, or so steep that it must be rock."""
    assert len(banks(bank(face_m=face_m, height_m=height_m), GRID, SEEN, GRID)) == 0


def test_a_bank_stands_out_where_the_land_is_large() -> None:
    """On a slope between hills and valleys tens of metres across a bank of 1.8 m is found, and it alone."""
    x, y = landscape.from_middle(GRID)
    hills = landscape.ribbed_slope(GRID, rise_deg=10, width_m=50, depth_m=10)
    step = 1.8 * np.clip((y - 5) / 2.7 + 0.5, 0, 1) * np.exp(-np.clip(y - 7, 0, None) / 12)
    share = np.clip(1.6 - np.abs(x) / 15, 0, 1)
    found = banks(with_noise(hills + landscape.as_heights(step * share)), GRID, SEEN, GRID)
    assert len(found) == 1
    place = np.asarray(found.geometry[0].interpolate(0.5, normalized=True).coords[0]) - landscape.middle_of(GRID)
    np.testing.assert_allclose(place, [0, 6], atol=5)


def test_the_edge_of_a_terrace_and_the_foot_of_a_slope_are_no_banks() -> None:
    """Where level ground breaks off into a slope of 30 degrees 12 m high only the contours bend."""
    _, y = landscape.from_middle(GRID)
    edge = landscape.as_heights(100 + np.tan(np.radians(30)) * np.clip(y, -10, 11))
    assert len(banks(with_noise(edge), GRID, SEEN, GRID)) == 0


def test_the_sides_of_a_knoll_are_no_banks() -> None:
    """A hill long and steep enough for its side to pass as a bank: a bank alone, none once the hill is known."""
    x, y = landscape.from_middle(GRID)
    ridge = landscape.as_heights(2.4 * np.clip(3.5 - np.abs(y), 0, 2.6) / 2.6 * np.clip(2 - np.abs(x) / 12, 0, 1))
    ground = with_noise(landscape.plane(GRID, rise_deg=2) + ridge)
    alone = banks(ground, GRID, SEEN, GRID)
    assert len(alone) > 0
    middle = shapely.Point(*landscape.middle_of(GRID))
    knoll = make_features([middle], crs=GRID.crs, symbol="109", confidence=1.0, evidence="x", width_m=60.0)
    assert len(draft_banks(ground, GRID, SEEN, GRID, knoll, min_slope_deg=22)) == 0


@pytest.mark.parametrize("shape", ["level", "plane", "cone", "restless", "unknown"])
def test_ground_without_lines_has_none(shape: str) -> None:
    """Even, steep, round, restless and half unknown ground has no gullies, walls or banks."""
    ground = {
        "level": landscape.level(GRID),
        "plane": landscape.plane(GRID, rise_deg=35),
        "cone": landscape.cone(GRID),
        "restless": landscape.plane(GRID, rise_deg=10) + landscape.rough(GRID, spread_m=3),
        "unknown": np.where(landscape.from_middle(GRID)[0] > 0, np.float32(np.nan), landscape.level(GRID)),
    }[shape]
    for draft in (draft_gullies, draft_walls, banks):
        found = draft(with_noise(ground), GRID, SEEN, GRID)
        assert len(found) == 0, (shape, draft.__name__)


def test_lines_do_not_depend_on_where_the_grid_begins() -> None:
    """The same ground on a grid that begins elsewhere gives the same line, moved."""
    ground = slope_with(landscape.furrow(GRID, depth_m=2, half_width_m=3))
    moved = Grid(GRID.crs, GRID.west_col + 7, GRID.north_row + 3, 1.0, GRID.rows, GRID.cols)
    here = draft_gullies(ground, GRID, SEEN, GRID)
    there = draft_gullies(ground, moved, SEEN, moved)
    assert len(here) == len(there) == 1
    # The fixed squares that lines are thinned and measured in do not move along, so that other vertices are kept and a
    # line may end one cell sooner.
    back = shapely.transform(there.geometry[0], lambda places: places - [7, 3])
    assert shapely.hausdorff_distance(back, here.geometry[0]) < 1.5
    middle = shapely.intersection(back, shapely.buffer(back.interpolate(0.5, normalized=True), back.length / 3))
    assert shapely.distance(shapely.points(shapely.get_coordinates(middle)), here.geometry[0]).max() < 2 * THINNED_M
