"""Running water: channels where water gathers and the ground shows a bed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as profile
from hypothesis import strategies as st
from scipy import ndimage
from skimage.morphology import reconstruction

from pipeline.lattice.grid import Grid, Heights
from pipeline.settings import WaterSettings
from pipeline.water.draft import draft_water
from pipeline.water.running import channels, incision, reaches
from pipeline.water.running.channels import Channel, find_channels
from pipeline.water.running.drainage import Drainage, downstream, drain, gathered
from pipeline.water.running.incision import side_height
from pipeline.water.sight.ground import Ground, in_memory

GRID = Grid("EPSG:25832", 2000, 8000, 0.5, 400, 400)
EAST, NORTH = np.meshgrid(*GRID.centres())
X, Y = EAST - GRID.bounds[0], NORTH - GRID.bounds[1]
ROUGH = np.random.default_rng(5).normal(0, 0.05, GRID.shape)


def valley(*, depth_m: float, half_m: float = 2.0) -> Heights:
    """A wide valley that falls 5 % to the south, its middle winding, with a channel cut into its floor."""
    middle = 100 + 12 * np.sin(Y / 30)
    away = np.abs(X - middle)
    channel = depth_m * np.clip(1 - away / half_m, 0, 1)
    return (50 + 0.05 * Y + 0.06 * away - channel + ROUGH).astype(np.float32)


def trench(*, floor_m: float, depth_m: float = 1.5, bank_m: float = 2.0, around: Heights | float = 0.0) -> Heights:
    """A level field that falls 4 % to the south, with a trench down its middle, its banks so wide each."""
    away = np.abs(X - 100)
    cut = depth_m * np.clip(1 - (away - floor_m / 2) / bank_m, 0, 1)
    return (50 + 0.04 * Y + around - cut + 0.4 * ROUGH).astype(np.float32)


def found_in(heights: Heights, aimed: Heights | None = None) -> list[Channel]:
    """Channels of a surface; as many pulses came back from everywhere unless `aimed` says otherwise."""
    usual = WaterSettings()
    return find_channels(
        in_memory(heights),
        in_memory(np.ones(heights.shape, np.float32) if aimed is None else aimed),
        GRID,
        min_drained_m2=usual.channel_min_drained_m2,
        min_depth_m=usual.channel_min_depth_m,
    )


def test_channel_in_a_valley_is_followed_downstream() -> None:
    """A channel of 1.5 m is found along nine tenths of its course, within 3 m, running down."""
    lines = [channel.line for channel in found_in(valley(depth_m=1.5))]
    points = np.concatenate([[line.interpolate(s).coords[0] for s in np.arange(0, line.length, 2)] for line in lines])
    x, y = points[:, 0] - GRID.bounds[0], points[:, 1] - GRID.bounds[1]
    assert np.percentile(np.abs(x - (100 + 12 * np.sin(y / 30))), 95) < 3
    assert len(np.unique(np.round(y / 4))) * 4 > 0.9 * 200
    assert all(line.coords[0][1] > line.coords[-1][1] for line in lines)


def test_a_track_across_the_channel_does_not_end_it() -> None:
    """Water is led through a bank 6 m wide and 1.5 m high, as through a culvert."""
    heights = valley(depth_m=1.5)
    bank = np.abs(Y - 100) < 3
    heights = np.where(bank, np.maximum(heights, 50 + 0.05 * 100 + 0.5), heights).astype(np.float32)
    longest = found_in(heights)[0].line
    assert longest.bounds[1] < GRID.bounds[1] + 60
    assert longest.bounds[3] > GRID.bounds[1] + 140


def test_a_sunken_lane_is_no_stream_unless_its_floor_is_wet() -> None:
    """A trench with an even floor 2.5 m wide, worn into a field, is a lane; with water in it, a stream."""
    lane = trench(floor_m=2.5)
    assert found_in(lane) == []
    wet = np.where(np.abs(X - 100) < 1.5, 0.1, 1.0).astype(np.float32)
    assert sum(channel.line.length for channel in found_in(lane, wet)) > 150


@pytest.mark.parametrize("around", [0.0, 0.2])
def test_a_ditch_and_a_stream_between_slopes_are_no_lanes(around: float) -> None:
    """A ditch without a floor in a level field, and a bed of 2.5 m at the foot of two slopes, stay channels."""
    floor_m = 2.5 if around else 0.3
    sides = around * np.maximum(np.abs(X - 100) - 3, 0)
    found = found_in(trench(floor_m=floor_m, depth_m=0.8, bank_m=1.0, around=sides))
    assert sum(channel.line.length for channel in found) > 150


def test_only_the_lane_is_cut_off_where_it_runs_into_a_stream() -> None:
    """A lane in the upper half of a field and a ditch in the lower half: the ditch is drawn, the lane is not."""
    heights = np.where(Y > 100, trench(floor_m=2.5), trench(floor_m=0.3, bank_m=1.0))
    lines = [channel.line for channel in found_in(heights.astype(np.float32))]
    assert sum(line.length for line in lines) > 70
    assert max(line.bounds[3] for line in lines) < GRID.bounds[1] + 115


def test_a_ditch_does_not_end_in_the_midst_of_a_field() -> None:
    """Where its own banks are all that drains to it the ditch is still a channel; where its bed ends, it ends.

    The field slopes away from the ditch, so that nothing drains to its first 140 m but 3 m on either side.
    """
    away = np.abs(X - 100)
    ridge = np.where(Y > 60, -0.05 * np.maximum(away - 3, 0), 0.05 * np.maximum(away - 3, 0))
    ditch = 1.2 * np.clip(1 - away / 1.5, 0, 1) * (Y < 180)
    lines = [c.line for c in found_in((50 + 0.04 * Y + ridge - ditch + 0.4 * ROUGH).astype(np.float32))]
    assert max(line.bounds[3] for line in lines) == pytest.approx(GRID.bounds[1] + 180, abs=12)


def test_a_bed_makes_a_stream_likely_and_a_bare_valley_does_not() -> None:
    """What is no more than the lowest line of a valley has a confidence below 0.2, a ditch one of 0.9."""
    grid = Ground(GRID, *map(in_memory, (np.zeros(GRID.shape, np.float32),) * 5))

    def confidence_in(heights: Heights) -> list[float]:
        last = np.ones(GRID.shape, np.float32)
        readers = {"bare_earth": heights, "last_returns": last, "aimed_pulses": last}
        ground = replace(grid, **{name: in_memory(raster) for name, raster in readers.items()})
        return draft_water(ground, scale=10_000, settings=WaterSettings())["confidence"].tolist()

    plain = (50 + 0.05 * Y + 0.15 * np.abs(X - 100) + 0.4 * ROUGH).astype(np.float32)
    assert max(confidence_in(plain)) < 0.2
    assert confidence_in(trench(floor_m=0.3, bank_m=1.0)) == [pytest.approx(0.9)]


@pytest.mark.parametrize("slope", [0.0, 0.1, 0.5])
def test_planes_have_no_channels(slope: float) -> None:
    """Rough level ground and rough slopes give nothing."""
    heights = (slope * X + 0.3 * slope * Y + ROUGH).astype(np.float32)
    assert found_in(heights) == []


def test_ridge_and_bench_have_no_channels() -> None:
    """A ridge, and a track bench cut into a slope, gather no water in a bed."""
    ridge = (60 - 0.2 * np.abs(X - 100) + ROUGH).astype(np.float32)
    slope = 0.35 * X
    bench = np.where(np.abs(X - 100) < 2, 35.0, slope)
    assert found_in(ridge) == []
    assert found_in((bench + 0.03 * Y + ROUGH).astype(np.float32)) == []


def test_wide_hollow_without_a_bed_has_no_channel() -> None:
    """A trough whose sides rise 5 % shows no bed at 6 m."""
    assert found_in((0.05 * np.abs(X - 100) + 0.03 * Y + ROUGH).astype(np.float32)) == []


def test_ground_unknown_everywhere_gives_nothing() -> None:
    """A surface without heights has no channels."""
    assert found_in(np.full(GRID.shape, np.nan, np.float32)) == []


def test_side_height_of_a_v_is_its_depth_and_of_a_plane_nothing() -> None:
    """At 6 m from the line of a V of 1 in 2 the sides stand 3 m higher; a plane of any slope gives 0 or less."""
    trough = 0.5 * np.abs(X - X[0, 200])
    assert side_height(trough, 0.5, 6.0)[200, 200] == pytest.approx(3.0)
    plane = 0.4 * X + 0.2 * Y
    assert np.nanmax(side_height(plane, 0.5, 6.0)) <= 1e-9
    assert np.nanmax(side_height(0.4 * X, 0.5, 6.0)) == pytest.approx(0.0, abs=1e-9)


def _filled(heights: np.ndarray, drainage: Drainage) -> np.ndarray:
    """The height water must reach to leave each cell, along where the drainage leads it."""
    level = heights.ravel().copy()
    for at in drainage.order:
        below = drainage.receiver[at]
        if below >= 0:
            level[at] = max(level[at], level[below])
    return level.reshape(heights.shape)


@given(seed=st.integers(0, 10_000), rows=st.integers(3, 12), cols=st.integers(3, 12))
@profile(max_examples=40, deadline=None)
def test_hollows_fill_to_the_height_scikit_image_fills_them_to(seed: int, rows: int, cols: int) -> None:
    """Outside check: morphological reconstruction by erosion (scikit-image) gives the same filled surface."""
    heights = np.random.default_rng(seed).normal(size=(rows, cols))
    start = np.full_like(heights, heights.max())
    start[[0, -1]], start[:, [0, -1]] = heights[[0, -1]], heights[:, [0, -1]]
    expected = reconstruction(start, heights, method="erosion", footprint=np.ones((3, 3)))
    assert np.allclose(_filled(heights, drain(heights)), expected)


@given(seed=st.integers(0, 10_000))
@profile(max_examples=20, deadline=None)
def test_all_water_leaves_the_survey(seed: int) -> None:
    """What gathers at the cells that drain out of the survey adds up to its whole area."""
    heights = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(20, 15)), 1)
    heights[4:7, 3:6] = np.nan
    drainage = drain(heights)
    ground = np.isfinite(heights).ravel()
    assert gathered(drainage)[ground & (drainage.receiver < 0)].sum() == ground.sum()


@given(seed=st.integers(0, 10_000), start=st.integers(0, 299))
@profile(max_examples=20, deadline=None)
def test_downstream_of_a_cell_lies_what_receives_its_water(seed: int, start: int) -> None:
    """A cell is downstream of another if what gathers there grows when the other is counted twice."""
    drainage = drain(ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(20, 15)), 1))
    passed = downstream(drainage, np.array([start]))
    weight = np.zeros(300)
    weight[start] = 1
    for at in drainage.order[::-1]:
        if drainage.receiver[at] >= 0:
            weight[drainage.receiver[at]] += weight[at]
    assert np.array_equal(passed, weight > 0)


def test_squares_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Read in squares of 32 m, the ground gives the same channels as read at once, to the last bit."""
    heights = valley(depth_m=1.5)
    heights[150:170, 90:130] = np.nan
    whole = found_in(heights)
    for module in (incision, reaches):
        monkeypatch.setattr(module, "SQUARE_CELLS", 64)
    assert found_in(heights) == whole
    assert len(whole) >= 1


def test_a_large_area_is_led_over_larger_cells(monkeypatch: pytest.MonkeyPatch) -> None:
    """With cells of 4 m instead of 2 m the channel is still found along its course, within 4 m."""
    monkeypatch.setattr(channels, "MOST_FLOW_CELLS", 50 * 50)
    lines = [channel.line for channel in found_in(valley(depth_m=1.5))]
    points = np.concatenate([[line.interpolate(s).coords[0] for s in np.arange(0, line.length, 2)] for line in lines])
    x, y = points[:, 0] - GRID.bounds[0], points[:, 1] - GRID.bounds[1]
    assert np.percentile(np.abs(x - (100 + 12 * np.sin(y / 30))), 95) < 4
    assert len(np.unique(np.round(y / 4))) * 4 > 0.85 * 200


def test_turning_the_ground_turns_the_channels() -> None:
    """A quarter turn of the surface gives the same length of channel, within a tenth."""
    heights = valley(depth_m=1.5)
    plain = sum(channel.line.length for channel in found_in(heights))
    turned = sum(channel.line.length for channel in found_in(np.rot90(heights).copy()))
    assert turned == pytest.approx(plain, rel=0.1)
