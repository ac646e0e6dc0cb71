"""Cliffs on analytic ground: steps are found along their lip, even steepness is not."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid, Heights
from pipeline.rock.cliffs.cliffs import find_cliffs
from pipeline.rock.cliffs.falls import measure_steps
from pipeline.settings import RockSettings

SETTINGS = RockSettings()
GRID = Grid.covering((0, 0, 80, 80), cell_m=0.5, crs="EPSG:25833")


def ground(
    *, height_m: float, slope: float = 0.0, face_m: float = 0.5, length_m: float = 50.0, noise_m: float = 0.03
) -> Heights:
    """Ground falling to the east, with a step at east 40 between north 15 and 15 + length."""
    east, north = np.meshgrid(*GRID.centres())
    along = np.clip(np.minimum(north - 15, 15 + length_m - north) / 10, 0, 1)
    step = height_m * along * np.clip(0.5 - (east - 40) / face_m, 0, 1) * np.clip(1 - (40 - east) / 30, 0, 1)
    rng = np.random.default_rng(5)
    # The ends rise over 10 m, so that only the front is a face.
    return (200 - slope * east + step + rng.normal(0, noise_m, east.shape)).astype(np.float32)


def every_face(heights: Heights, support: Heights) -> gpd.GeoDataFrame:
    """Every face that may be a cliff, with its confidence."""
    return find_cliffs(
        heights,
        support,
        GRID,
        excess_m=SETTINGS.cliff_excess_m,
        impassable_min_height_m=SETTINGS.impassable_min_height_m,
    )


def cliffs_in(heights: Heights) -> gpd.GeoDataFrame:
    """Cliffs surer than what the draft leaves out."""
    support = np.full(heights.shape, 0.3, np.float32)
    table = every_face(heights, support)
    return table[table.confidence >= SETTINGS.least_cliff_confidence]


@pytest.mark.parametrize(("height_m", "slope"), [(2.0, 0.0), (2.5, 0.4), (5.0, 0.2)])
def test_a_step_becomes_one_line_along_its_lip(height_m: float, slope: float) -> None:
    """The line lies within 1.5 m of the lip, is nearly as long, and says the height to within 0.5 m of the fall."""
    table = cliffs_in(ground(height_m=height_m, slope=slope))
    assert len(table) == 1
    row = table.iloc[0]
    places = shapely.get_coordinates(row.geometry)
    assert np.abs(places[:, 0] - 40).max() < 1.5
    assert 30 < row.geometry.length < 56
    assert abs(row.height_m - height_m - slope * row.width_m) < 0.5
    assert row.symbol == ("201" if height_m >= 3 else "202")


def test_the_fall_is_on_the_right_hand_side() -> None:
    """Ground falls to the east, so the line runs north to keep the fall on its right, and points that way."""
    row = cliffs_in(ground(height_m=3.0)).iloc[0]
    places = shapely.get_coordinates(row.geometry)
    assert places[-1, 1] > places[0, 1]
    assert abs(row.angle_deg - 90) < 10


@pytest.mark.parametrize("slope", [0.0, 0.7, 1.2])
def test_even_steepness_is_no_cliff(slope: float) -> None:
    """A plane of 50 degrees has none."""
    assert len(cliffs_in(ground(height_m=0.0, slope=slope))) == 0


def test_the_sides_of_a_sunken_lane_are_no_cliffs(monkeypatch: pytest.MonkeyPatch) -> None:
    """A lane 2.5 m deep, its floor 3 m and its sides 2.4 m wide: each side alone would be drawn, two are banks."""
    east, _ = np.meshgrid(*GRID.centres())
    depth = 2.5 * np.clip((1.5 + 2.4 - np.abs(east - 40)) / 2.4, 0, 1)
    heights = (200 - depth + np.random.default_rng(6).normal(0, 0.03, GRID.shape)).astype(np.float32)
    assert len(cliffs_in(heights)) == 0
    monkeypatch.setattr("pipeline.rock.cliffs.cliffs.MOST_OPPOSITE_SHARE", 1.0)
    assert len(cliffs_in(heights)) == 2


def test_walls_of_a_gorge_too_steep_for_earth_stay_cliffs() -> None:
    """Two faces of 4 m opposite each other, 1 m of ground from lip to foot, are rock."""
    east, _ = np.meshgrid(*GRID.centres())
    depth = 4.0 * np.clip((3.0 + 1.0 - np.abs(east - 40)) / 1.0, 0, 1)
    assert len(cliffs_in((200 - depth).astype(np.float32))) == 2


def test_a_bank_with_a_sloping_face_is_no_cliff() -> None:
    """A step of 2 m that takes 5 m to fall is a bank."""
    assert len(cliffs_in(ground(height_m=2.0, face_m=5.0))) == 0


def test_the_round_side_of_a_pit_is_left_to_earth_banks() -> None:
    """A face that turns through a circle is dug: it stays, but too unsure to be drawn."""
    east, north = np.meshgrid(*GRID.centres())
    pit = np.where(np.hypot(east - 40, north - 40) < 12, -4.0, 0.0)
    assert len(cliffs_in((200 + pit).astype(np.float32))) == 0


@pytest.mark.parametrize("bank_m", [12.0, 14.0, 22.0])
def test_a_cliff_that_runs_on_into_a_turning_bank_is_drawn_without_it(bank_m: float) -> None:
    """A face of 4 m, 16 m long, goes over into a bank as high at 45 degrees that turns away: only the face is drawn."""
    turn = np.linspace(0, bank_m / 8.0, 30)
    path = shapely.LineString([(28.0, 40.0), *zip(44 + 8 * np.sin(turn), 32 + 8 * np.cos(turn), strict=True)])
    east, north = np.meshgrid(*GRID.centres())
    at = shapely.line_locate_point(path, shapely.points(east, north))
    foot, ahead, behind = (shapely.get_coordinates(path.interpolate(d.ravel())).T for d in (at, at + 0.2, at - 0.2))
    way, off = ahead - behind, np.stack((east.ravel(), north.ravel())) - foot
    left = (np.hypot(*off) * np.sign(way[0] * off[1] - way[1] * off[0])).reshape(at.shape)
    face = np.where(at <= 16, 0.5, 4.0)
    ends = np.clip(np.minimum(at, path.length - at) / 4, 0, 1)
    rise = 4.0 * ends * np.clip(left / face + 0.5, 0, 1) * np.clip(1 - left / 25, 0, 1)
    table = cliffs_in((200 + rise + np.random.default_rng(3).normal(0, 0.03, rise.shape)).astype(np.float32))
    assert len(table) == 1
    assert 10 < table.geometry.iloc[0].length < 16


def test_both_branches_of_a_fork_are_drawn() -> None:
    """A face of 4 m, 60 m long, and one of 2 m that leaves it in its middle: a line lies on each of the three arms."""
    east, north = np.meshgrid(*GRID.centres())
    face = np.clip((40.0 - east) / 0.5 + 0.5, 0, 1)
    branch = np.clip((north - 40.0) / 0.5 + 0.5, 0, 1) * np.clip((72 - east) / 10, 0, 1) * (east > 40)
    ends = np.clip(np.minimum(north - 10, 70 - north) / 5, 0, 1)
    heights = (200 + ends * (4.0 * face + 2.0 * branch)).astype(np.float32)
    lines = cliffs_in(heights).geometry.union_all()
    for place in ((40, 22), (40, 58), (52, 40)):
        assert lines.distance(shapely.Point(place)) < 2


def test_a_face_too_short_for_the_symbol_is_drawn_at_its_least_length() -> None:
    """ISOM 2017-2, 202: at least 0.6 mm at 1:15000, which is 9 m."""
    table = every_face(ground(height_m=4.0, length_m=12.0), np.full(GRID.shape, 0.3, np.float32))
    assert len(table) == 1
    assert table.geometry.iloc[0].length >= 8.99


def test_a_cliff_seen_by_few_returns_is_less_sure() -> None:
    """The farther the nearest ground return, the lower the confidence."""
    heights = ground(height_m=2.0)
    sure = [every_face(heights, np.full(GRID.shape, far, np.float32)).confidence.max() for far in (0.3, 2.0, 4.0)]
    assert sure[0] > sure[1] > sure[2]


def test_a_cliff_of_which_a_third_was_not_seen_is_less_sure() -> None:
    """Half of its line has a ground return beside it, so that the middle distance says nothing of the rest."""
    heights = ground(height_m=1.8, face_m=1.5)
    seen = np.full(heights.shape, 0.3, np.float32)
    partly = seen.copy()
    north = np.broadcast_to(GRID.centres()[1][:, None], heights.shape)
    partly[(north > 30) & (north < 48)] = 2.5
    whole, less = every_face(heights, seen).iloc[0], every_face(heights, partly).iloc[0]
    assert whole.confidence > SETTINGS.least_cliff_confidence > less.confidence
    assert "a ground return lies within 2.5 m" in less.evidence


def test_excess_is_the_fall_beyond_the_slope() -> None:
    """On a plane of 0.5 with a step of 2 m, the fall over 2 m is 3 m and 2 m of it is excess."""
    steps = measure_steps(ground(height_m=2.0, slope=0.5, noise_m=0.0), GRID)
    row, col = GRID.row_col(np.array([40.0]), np.array([40.0]))
    at: NDArray[np.float64] = steps.excess_m[row, col]
    assert abs(at[0] - 2.0) < 0.3
    assert abs(steps.fall_m[row, col][0] - 3.0) < 0.3
