"""Running water: channels where water gathers and the ground shows a bed."""

from __future__ import annotations

import warnings
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import settings as profile
from hypothesis import strategies as st
from scipy import ndimage
from skimage.morphology import reconstruction

from pipeline.lattice.grid import Grid, Heights
from pipeline.settings import WaterSettings
from pipeline.water.draft import BEGINS_M2, draft_water
from pipeline.water.drainage.dams import DAM_MAX_HEIGHT_M, DAM_MAX_WIDTH_M
from pipeline.water.drainage.drainage import downstream, drain, gathered, lower_spill_height, spill_height
from pipeline.water.drainage.sinks import HOLLOW_MAX_DEPTH_M, drain_into_sinks
from pipeline.water.running import flow, incision, lanes, reaches
from pipeline.water.running.channels import Channel, find_channels
from pipeline.water.running.flow import Runoff, lead_water
from pipeline.water.running.incision import side_height
from pipeline.water.running.links import long_enough
from pipeline.water.running.porous import Floors, describe_floors
from pipeline.water.running.shores import on_land
from pipeline.water.sight import ground as sight
from pipeline.water.sight.ground import PIECE_CELLS, Ground, in_memory, in_pieces

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


USUAL = Runoff(BEGINS_M2["moderate"], WaterSettings().channel_min_drained_m2, WaterSettings().channel_min_depth_m)


def found_in(heights: Heights, aimed: Heights | None = None, *, runoff: Runoff = USUAL) -> list[Channel]:
    """Channels of a surface; as many pulses came back from everywhere unless `aimed` says otherwise."""
    pulses = np.ones(heights.shape, np.float32) if aimed is None else aimed
    ground = in_memory(heights)
    return find_channels(lead_water(ground, GRID, runoff), ground, in_memory(pulses), GRID, runoff).channels


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
    """A ditch without a floor in a level field, and a bed of 1.5 m at the foot of two slopes, stay channels."""
    floor_m = 1.5 if around else 0.3
    sides = around * np.maximum(np.abs(X - 100) - 3, 0)
    found = found_in(trench(floor_m=floor_m, depth_m=0.8, bank_m=1.0, around=sides))
    assert sum(channel.line.length for channel in found) > 150


def test_only_the_lane_is_cut_off_where_it_runs_into_a_stream() -> None:
    """A lane in the upper half of a field and a ditch in the lower half: the ditch is drawn, the lane is not."""
    heights = np.where(Y > 100, trench(floor_m=2.5), trench(floor_m=0.3, bank_m=1.0))
    lines = [channel.line for channel in found_in(heights.astype(np.float32))]
    assert sum(line.length for line in lines) > 70
    assert max(line.bounds[3] for line in lines) < GRID.bounds[1] + 115


@pytest.mark.parametrize("share", [0.0, 25.0, 50.0, 100.0])
def test_percentiles_of_rows_are_those_of_numpy(share: float) -> None:
    """Outside check: rows with unknown values, and one without any known, have the percentile numpy gives."""
    values = np.random.default_rng(3).normal(size=(50, 13))
    values[values > 0.8] = np.nan
    values[7] = np.nan
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)  # the row without known values
        expected = np.nanpercentile(values, share, axis=1)
    assert np.allclose(lanes._percentile(values, share), expected, equal_nan=True)


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
        return draft_water(ground, scale=10_000, settings=WaterSettings()).features["confidence"].tolist()

    plain = (50 + 0.05 * Y + 0.15 * np.abs(X - 101) + 0.4 * ROUGH).astype(np.float32)
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


@given(seed=st.integers(0, 10_000), rows=st.integers(3, 12), cols=st.integers(3, 12))
@profile(max_examples=40, deadline=None)
def test_hollows_fill_to_the_height_scikit_image_fills_them_to(seed: int, rows: int, cols: int) -> None:
    """Outside check: morphological reconstruction by erosion (scikit-image) gives the same filled surface."""
    heights = np.random.default_rng(seed).normal(size=(rows, cols))
    start = np.full_like(heights, heights.max())
    start[[0, -1]], start[:, [0, -1]] = heights[[0, -1]], heights[:, [0, -1]]
    expected = reconstruction(start, heights, method="erosion", footprint=np.ones((3, 3)))
    assert np.allclose(spill_height(heights), expected)


@given(seed=st.integers(0, 10_000), rounds=st.integers(1, 3))
@profile(max_examples=20, deadline=None)
def test_sinks_added_bit_by_bit_fill_hollows_as_all_at_once(seed: int, rounds: int) -> None:
    """To the last bit, with cells of equal height and unknown ground among them."""
    random = np.random.default_rng(seed)
    heights = np.round(8 * ndimage.gaussian_filter(random.normal(size=(30, 20)), 1.5), 1)
    heights[random.random(heights.shape) < 0.02] = np.nan
    sinks = random.choice(np.flatnonzero(np.isfinite(heights)), 12, replace=False)
    level = spill_height(heights)
    for some in np.array_split(sinks, rounds):
        lower_spill_height(heights, some, level)
    assert np.array_equal(level, spill_height(heights, sinks), equal_nan=True)


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
    monkeypatch.setattr(flow, "MOST_FLOW_CELLS", 50 * 50)
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


def _rises_m(line: shapely.LineString, heights: Heights, *, over_m: float = 1.0) -> float:
    """How far the lowest ground within 2 m of a line, and `over_m` onwards along it, rises above where it came from."""
    along = np.arange(0, line.length, 1.0)
    places = shapely.get_coordinates(shapely.line_interpolate_point(line, along))
    row, col = GRID.row_col(places[:, 0], places[:, 1])
    low = ndimage.minimum_filter(np.nan_to_num(heights, nan=np.inf), 9)[row.clip(0, 399), col.clip(0, 399)]
    onwards = np.lib.stride_tricks.sliding_window_view(np.pad(low, (0, int(over_m) - 1), mode="edge"), int(over_m))
    return float(np.max(onwards.min(axis=1) - np.minimum.accumulate(low), initial=0.0))


@given(seed=st.integers(0, 10_000), fall=st.floats(0.0, 0.2))
@profile(max_examples=12, deadline=None)
def test_streams_never_run_uphill(seed: int, fall: float) -> None:
    """On any hilly ground a stream rises no more than a bank over a culvert, and behind it no more than a hollow."""
    random = np.random.default_rng(seed)
    hills = sum(size / 3 * _blobs(random, size) for size in (8.0, 25.0, 80.0))
    heights = (50 + fall * Y + hills).astype(np.float32)
    found = found_in(heights, runoff=replace(USUAL, begins_m2=2000.0, porous=False))
    assert all(_rises_m(channel.line, heights, over_m=3 * DAM_MAX_WIDTH_M) <= HOLLOW_MAX_DEPTH_M for channel in found)
    assert all(_rises_m(channel.line, heights) <= DAM_MAX_HEIGHT_M + 0.3 for channel in found)


def _blobs(random: np.random.Generator, size_m: float) -> Heights:
    """Smooth random ground of deviation 1, its hills so many metres wide."""
    blobs = ndimage.gaussian_filter(random.normal(size=GRID.shape), size_m / GRID.cell_m / 2)
    return np.asarray(blobs / blobs.std(), np.float32)


@given(seed=st.integers(0, 10_000))
@profile(max_examples=20, deadline=None)
def test_every_hollow_that_is_left_is_shallow(seed: int) -> None:
    """Water led to the bottoms of deep hollows has to rise nowhere by more than a shallow hollow is deep."""
    heights = 2 * ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(30, 30)), 1.5) * 5
    _, sinks = drain_into_sinks(heights)
    assert np.max(spill_height(heights, sinks) - heights) <= HOLLOW_MAX_DEPTH_M


@given(seed=st.integers(0, 10_000))
@profile(max_examples=20, deadline=None)
def test_water_falls_down_the_steepest_way(seed: int) -> None:
    """Where hollows are filled first, each cell on a slope drains to the neighbour to which it falls most steeply."""
    rough = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=(20, 20)), 2)
    heights = rough + 0.5 * np.arange(20)[:, None]
    receiver = drain(heights).receiver.reshape(20, 20)
    for row, col in np.ndindex(18, 18):
        at = (row + 1, col + 1)
        to = divmod(int(receiver[at]), 20)
        fall = {
            (at[0] + d, at[1] + r): (heights[at] - heights[at[0] + d, at[1] + r]) / np.hypot(d, r)
            for d in (-1, 0, 1)
            for r in (-1, 0, 1)
            if d or r
        }
        assert max(fall.values()) <= 0 or fall[to] == max(fall.values())


def gentle_valley(fall: float = 0.02, side: float = 0.2) -> Heights:
    """A valley without a bed that falls to the south, to whose end the whole square drains."""
    return (50 + fall * Y + side * np.abs(X - 101) + 0.4 * ROUGH).astype(np.float32)


@pytest.mark.parametrize(("climate", "from_ha"), [("wet", 0.5), ("moderate", 2.0), ("dry", 10.0)])
def test_a_valley_without_a_bed_runs_from_where_the_climate_lets_it(climate: str, from_ha: float) -> None:
    """The stream of a valley of 4 ha begins where 0.5 or 2 ha drain to it and goes on to the edge; in dry land none."""
    found = found_in(gentle_valley(), runoff=replace(USUAL, begins_m2=BEGINS_M2[climate]))
    lines = [channel.line for channel in found]
    if from_ha > 4:
        assert lines == []
        return
    # A strip across the valley drains to its middle: 2 ha lie above the half of it, 0.5 ha above an eighth.
    begins = GRID.bounds[3] - from_ha / 4 * 200
    assert max(line.bounds[3] for line in lines) == pytest.approx(begins, abs=25)
    assert min(line.bounds[1] for line in lines) < GRID.bounds[1] + 4


@pytest.mark.parametrize(("gap_m", "is_joined"), [(0, True), (15, False)])
def test_a_ditch_through_a_rise_is_drawn_through_it(gap_m: float, is_joined: bool) -> None:
    """On the top of a rise nothing gathers: both halves of a ditch begin there, where its bed is seen, and run down."""
    away = np.abs(X - 100)
    ditch = 1.0 * np.clip(1 - away / 1.5, 0, 1) * (np.abs(Y - 100) >= gap_m)
    found = found_in((55 - 0.05 * np.abs(Y - 100) - ditch + 0.4 * ROUGH).astype(np.float32))
    assert len(found) == 2
    assert sum(channel.line.length for channel in found) == pytest.approx(200 if is_joined else 170, abs=8)
    heads, ends = (np.array([channel.line.coords[at][1] for channel in found]) - GRID.bounds[1] for at in (0, -1))
    assert np.all(np.abs(heads - 100) < gap_m + 6)
    assert sorted(ends) == pytest.approx([0, 200], abs=4)


def test_pieces_of_one_ditch_are_long_enough_together() -> None:
    """Pieces of 30 m and 20 m that touch are one blue line, alone both are too short, as is a trace on its own."""
    lines = [shapely.LineString([(0, 0), (30, 0)]), shapely.LineString([(32, 0), (52, 0)])]
    far = shapely.LineString([(32, 50), (52, 50)])
    cells = [np.array([0]), np.array([1])]
    assert len(long_enough(cells, lines, np.array([False, True]), 41.0)) == 2
    assert long_enough(cells, [lines[0], far], np.array([False, False]), 41.0) == []
    assert long_enough(cells, lines, np.array([True, True]), 41.0) == []


def test_where_water_sinks_only_a_bed_is_a_stream() -> None:
    """In porous ground the valley without a bed is dry, and the one with a bed is not."""
    porous = replace(USUAL, porous=True)
    assert found_in(gentle_valley(), runoff=porous) == []
    assert sum(channel.line.length for channel in found_in(valley(depth_m=1.5), runoff=porous)) > 150


def test_ground_is_porous_where_many_valleys_show_no_bed() -> None:
    """Of 2 km of valley floor a twentieth with a bed says porous, a third does not, nor does 200 m without any."""
    assert Floors(1.0, 2000, 100, None).is_porous
    assert not Floors(1.0, 2000, 660, None).is_porous
    assert not Floors(1.0, 200, 0, None).is_porous
    assert not Floors(1.0, 2000, 100, told=False).is_porous


@pytest.mark.parametrize(
    ("floors", "words"),
    [
        (Floors(2.0, 2000, 100, None), ["along 5% of them: 0.1 km of bed", "looks porous", "porous_ground: false"]),
        (Floors(1.0, 2000, 900, None), ["does not look porous", "porous_ground: true"]),
        (Floors(1.0, 200, 0, None), ["too little to tell", "as well"]),
        (Floors(1.0, 2000, 900, told=True), ["left dry", "The area file says 'porous_ground: true'"]),
        (Floors(1.0, 0, 0, None), ["0.0 km", "too little"]),
    ],
)
def test_the_report_says_whether_ground_looks_porous(floors: Floors, words: list[str]) -> None:
    """How much bed the valleys show, what was drawn, and what to write where that is wrong."""
    text = describe_floors(floors)
    assert all(word in text for word in words)


def test_a_stream_ends_in_a_deep_hollow() -> None:
    """A channel that runs into a closed hollow of 4 m goes no further, and is not led up its far side."""
    hollow = 4.0 * np.clip(1 - np.hypot(X - 100, Y - 100) / 40, 0, 1)
    floor = 50 + 0.03 * Y + 0.2 * np.abs(X - 100) - 1.2 * np.clip(1 - np.abs(X - 100) / 2, 0, 1) * (Y > 100)
    found = found_in((floor - hollow + 0.4 * ROUGH).astype(np.float32), runoff=replace(USUAL, begins_m2=1e9))
    assert found
    assert min(channel.line.bounds[1] for channel in found) > GRID.bounds[1] + 80


def test_ditches_are_told_from_streams_by_their_course() -> None:
    """A straight bed over a plain was dug, a winding one was not; size comes from what drains to it."""
    ditch = found_in(trench(floor_m=0.3, bank_m=1.0))
    assert ditch
    assert all(channel.is_dug and channel.symbol == "306" for channel in ditch)
    away = np.abs(X - 100 - 10 * np.sin(Y / 12))
    brook = found_in((50 + 0.04 * Y - 1.2 * np.clip(1 - away / 1.5, 0, 1) + 0.4 * ROUGH).astype(np.float32))
    assert brook
    assert not any(channel.is_dug for channel in brook)


def test_wide_open_water_makes_a_watercourse_304() -> None:
    """A bed with 4 m from which no pulse comes back is 304, with 1.5 m it is 305, and a dry one is 306."""
    sides = 0.2 * np.maximum(np.abs(X - 100) - 3, 0)
    bed = trench(floor_m=1.5, depth_m=0.8, bank_m=1.0, around=sides)
    for width_m, symbol in ((4.0, "304"), (1.5, "305"), (0.0, "306")):
        aimed = np.where(np.abs(X - 100) < width_m / 2, 0.0, 1.0).astype(np.float32)
        assert found_in(bed, aimed)[0].symbol == symbol


def test_streams_end_at_the_shore() -> None:
    """Of a stream through a pond what lies on land stays, in two pieces that both run downstream."""
    (channel,) = found_in(valley(depth_m=1.5))[:1]
    pond = channel.line.interpolate(0.5, normalized=True).buffer(15)
    pieces = on_land([channel], [pond])
    assert len(pieces) == 2
    for piece in pieces:
        ends = [channel.line.project(shapely.Point(piece.line.coords[at])) for at in (0, -1)]
        assert ends[0] < ends[1]
        assert piece.line.intersection(pond).length == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("most_pieces", [4, 24])
def test_windows_cut_from_pieces_are_those_of_the_raster(monkeypatch: pytest.MonkeyPatch, most_pieces: int) -> None:
    """Windows over the seams of pieces, at the rim and larger than a piece; near ones are read once, if need be all."""
    monkeypatch.setattr(sight, "MOST_PIECES", most_pieces)
    side = PIECE_CELLS
    values = np.random.default_rng(3).uniform(0, 9, (2 * side + 40, side + 30)).astype(np.float32)
    read: list[tuple[slice, slice]] = []

    def whole(window: tuple[slice, slice]) -> Heights:
        read.append(window)
        return values[window]

    cut = in_pieces(whole, Grid("EPSG:3006", 0, 0, 1.0, *values.shape))
    for rows in (slice(0, 5), slice(side - 3, side + 4), slice(side, 2 * side), slice(2 * side - 1, 2 * side + 40)):
        for cols in (slice(side - 20, side + 30), slice(7, 8), slice(0, 0), slice(0, side + 30)):
            assert np.array_equal(cut((rows, cols)), values[rows, cols])
    cut((slice(side - 9, side + 2), slice(side - 5, side + 5)))
    n_read = len(read)
    cut((slice(side - 9, side + 2), slice(side - 5, side + 5)))
    assert len(read) == n_read
    assert np.array_equal(cut((slice(0, 2 * side), slice(0, side + 30))), values[: 2 * side, : side + 30])
    assert len(read) == n_read + (most_pieces < 6)
