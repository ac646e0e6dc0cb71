"""Roads, tracks and paths: shapes whose course is known, and shapes that are none."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely.geometry import LineString

from pipeline.lattice.grid import Grid, Heights
from pipeline.manmade.tracks.evidence import TRACK_COUNTS
from pipeline.manmade.tracks.tracks import draw_tracks

GRID = Grid("EPSG:25832", 1000, 8000, 0.5, 400, 400)
WEST, SOUTH, EAST, NORTH = GRID.bounds
PULSES_PER_CELL = 2.0

Numbers = NDArray[np.float64]


def bend(east: Numbers) -> Numbers:
    """North of a course that swings 15 m to either side of the middle of the grid."""
    return np.asarray((SOUTH + NORTH) / 2 + 15 * np.sin((east - WEST) / 40))


def course() -> LineString:
    """That course."""
    east = np.arange(WEST, EAST, 1.0)
    return LineString(np.column_stack((east, bend(east))))


def aside() -> Numbers:
    """(rows, cols) distance of each cell from the course, metres; positive to the north of it."""
    east, north = np.meshgrid(*GRID.centres())
    line = course()
    shapely.prepare(line)
    far = shapely.distance(line, shapely.points(east, north))
    return np.asarray(np.where(north > bend(east), far, -far))


def hillside(slope: float, rough_m: float = 0.04) -> Heights:
    """A slope that falls to the south, rough as forest ground is."""
    _, north = np.meshgrid(*GRID.centres())
    lumps = ndimage.gaussian_filter(np.random.default_rng(4).normal(size=GRID.shape), 1.5)
    return np.asarray(slope * (north - SOUTH) + rough_m * lumps / lumps.std(), np.float32)


def trough(ground: Heights, depth_m: float, floor_m: float, side_m: float) -> Heights:
    """The ground let down (or, with a negative depth, built up) along the course: a floor and even sides."""
    beside = np.clip((np.abs(aside()) - floor_m / 2) / side_m, 0, 1)
    inside = np.where(beside < 1, ndimage.gaussian_filter(ground, 6.0), ground)
    return np.asarray(inside - depth_m * (1 - beside), np.float32)


def bench(slope: float, width_m: float) -> Heights:
    """A bench across a slope: flat for its width, then twice as steep as the slope until that is met."""
    ground, off = hillside(slope), aside()
    east, _ = np.meshgrid(*GRID.centres())
    level = slope * (bend(east) - SOUTH)
    beside = np.maximum(np.abs(off) - width_m / 2, 0)
    cut, fill = level + 2 * slope * beside, level - 2 * slope * beside
    made = np.where(off > 0, np.minimum(ground, cut), np.maximum(ground, fill))
    return np.asarray(np.where(np.abs(off) < width_m / 2, level, made), np.float32)


def counts(clear: Numbers | None = None) -> dict[str, Heights]:
    """Counts of pulses in forest of one density; all pulses reach the ground alone where `clear` is 1."""
    rng = np.random.default_rng(7)
    open_ = np.zeros(GRID.shape) if clear is None else clear
    pulses = rng.poisson(PULSES_PER_CELL, GRID.shape).astype(np.float32)
    bare = rng.binomial(pulses.astype(int), 0.45 + 0.5 * open_).astype(np.float32)
    entered = np.maximum(bare, rng.binomial(pulses.astype(int), 0.7)).astype(np.float32)
    met = rng.binomial(entered.astype(int), 0.2 * (1 - open_)).astype(np.float32)
    found = {"pulses": pulses, "entered": entered, "stopped": met, "growth": np.zeros_like(met)}
    found["lone_ground_returns"] = bare
    assert set(found) == set(TRACK_COUNTS)
    return found


def drawn(
    heights: Heights, seen: dict[str, Heights] | None = None, water: list[LineString] | None = None
) -> gpd.GeoDataFrame:
    """What is drawn."""
    nothing = dict.fromkeys(TRACK_COUNTS, np.zeros(GRID.shape, np.float32))
    return draw_tracks(heights, nothing if seen is None else seen, GRID, watercourses=water or [])


def found_ratio(found: gpd.GeoDataFrame, near_m: float) -> float:
    """Share of the course within some metres of what was drawn."""
    if found.empty:
        return 0.0
    line = course()
    places = shapely.line_interpolate_point(line, np.arange(10.0, line.length - 10, 1.0))
    return float((shapely.distance(shapely.union_all(found.geometry), places) <= near_m).mean())


def true_ratio(found: gpd.GeoDataFrame, near_m: float) -> float:
    """Share of what was drawn within some metres of the course."""
    return float(
        shapely.length(shapely.intersection(found.geometry, course().buffer(near_m))).sum() / found.length.sum()
    )


@pytest.mark.parametrize("slope", [0.25, 0.5])
@pytest.mark.parametrize("width_m", [2.0, 3.5])
def test_a_bench_across_a_slope_is_followed_round_its_bends(slope: float, width_m: float) -> None:
    """Nine tenths of a bench are drawn within a metre and a half, and little else."""
    found = drawn(bench(slope, width_m))
    assert found_ratio(found, 1.5) > 0.9
    assert true_ratio(found, 3.0) > 0.9


def test_the_width_of_a_floor_says_what_drives_there() -> None:
    """A bench of three metres takes a car, one of a metre and a half does not."""
    wide, narrow = drawn(bench(0.4, 3.2)), drawn(bench(0.4, 1.5))
    longest = [str(found.loc[found.length.idxmax(), "symbol"]) for found in (wide, narrow)]
    assert longest[0] in {"503", "504"}
    assert longest[1] in {"505", "506"}
    assert float(wide.loc[wide.length.idxmax(), "width_m"]) == pytest.approx(3.2, abs=0.8)


@pytest.mark.parametrize("depth_m", [1.5, -1.0], ids=["sunken", "raised"])
def test_a_sunken_lane_and_a_bank_with_a_way_on_it_are_found(depth_m: float) -> None:
    """A flat floor of three metres between steep sides is a way, below or above the ground around."""
    found = drawn(trough(hillside(0.05), depth_m, 3.0, 1.5))
    assert found_ratio(found, 1.5) > 0.85
    assert true_ratio(found, 3.0) > 0.85


def test_what_runs_in_the_bed_of_a_watercourse_is_no_track() -> None:
    """The same floor is left to the water where the section on water has drawn a stream."""
    heights = trough(hillside(0.05), 1.5, 3.0, 1.5)
    assert found_ratio(drawn(heights), 3.0) > 0.85
    assert found_ratio(drawn(heights, water=[course()]), 3.0) < 0.1


def valley() -> Heights:
    """A stream's valley: sides that rise evenly from a narrow bed, for 15 m."""
    return np.asarray(hillside(0.02) + 0.35 * np.minimum(np.abs(aside()), 15.0), np.float32)


def ditch() -> Heights:
    """A ditch in the shape of a V, 0.7 m deep and 2.4 m wide."""
    return np.asarray(hillside(0.02) - 0.7 * np.maximum(1 - np.abs(aside()) / 1.2, 0), np.float32)


def terrace_edge() -> Heights:
    """One step of 1.5 m between two level stretches of ground."""
    return np.asarray(hillside(0.02) + 1.5 * np.clip(aside() / 2 + 0.5, 0, 1), np.float32)


def meadow() -> Heights:
    """Flat and smooth."""
    return hillside(0.01, rough_m=0.01)


def rough_slope() -> Heights:
    """A slope with nothing made on it."""
    return hillside(0.5, rough_m=0.08)


def lumpy() -> Heights:
    """Flat ground with lumps some 6 m across and 0.1 m high, and the noise of a survey."""
    lumps = ndimage.gaussian_filter(np.random.default_rng(6).normal(size=GRID.shape), 6.0)
    return np.asarray(0.1 * lumps / lumps.std() + survey_noise(), np.float32)


def survey_noise() -> Numbers:
    """(rows, cols) a centimetre of noise."""
    return np.random.default_rng(8).normal(0, 0.01, GRID.shape)


def levelled(width_m: float) -> Heights:
    """The same ground levelled along the course for a width; no bench, bank or ditch."""
    kept = np.clip((np.abs(aside()) - width_m / 2) / 1.5, 0, 1)
    return np.asarray((lumpy() - survey_noise()) * kept + survey_noise(), np.float32)


@pytest.mark.parametrize("ground", [valley, ditch, terrace_edge, meadow, rough_slope, lumpy])
def test_what_is_no_way_is_not_drawn(ground: Callable[[], Heights]) -> None:
    """Beds of streams, ditches, single steps, meadows and rough slopes hold no track."""
    assert drawn(ground()).length.sum() < 40.0


def test_forest_with_gaps_by_chance_holds_no_track() -> None:
    """Pulses that come through here and there do not make a course."""
    assert drawn(hillside(0.1), counts()).length.sum() < 40.0


def test_a_course_worn_smooth_and_clear_of_growth_is_found_without_a_bench() -> None:
    """Where no earth was moved, smooth ground and a gap in the growth show a way through forest."""
    off = np.abs(aside())
    clear = (off < 1.8).astype(np.float64)
    rough = hillside(0.1, rough_m=0.06)
    worn = np.where(off < 1.5, ndimage.gaussian_filter(rough, 5.0), rough).astype(np.float32)
    found = drawn(worn, counts(clear))
    assert found_ratio(found, 2.0) > 0.8
    assert true_ratio(found, 4.0) > 0.8


def test_a_road_that_only_levels_flat_ground_is_found_from_the_bare_earth() -> None:
    """A road of six metres without bank or ditch shows by how evenly the ground runs along it."""
    found = drawn(levelled(6.0))
    assert found_ratio(found, 3.0) > 0.9
    assert true_ratio(found, 5.0) > 0.9


def test_no_way_runs_along_the_edge_of_the_survey() -> None:
    """A bench two metres inside the last known row is left out, and drawn where more ground beside it is known."""
    heights = bench(0.4, 3.0)
    assert found_ratio(drawn(heights), 3.0) > 0.85
    cut = np.where(aside() < -3.5, np.nan, heights).astype(np.float32)
    assert found_ratio(drawn(cut), 3.0) < 0.1


def test_tracks_that_meet_share_the_vertex() -> None:
    """Two benches that cross make lines that end in one place."""
    east, north = np.meshgrid(*GRID.centres())
    base = hillside(0.0, rough_m=0.05)
    off_one, off_two = np.abs(north - (SOUTH + 100)), np.abs(east - (WEST + 90))
    off = np.minimum(off_one, off_two)
    raised = np.where(off < 1.6, 0.0, base) + 0.8 * np.clip(1 - (off - 1.6) / 1.2, 0, 1)
    found = drawn(raised.astype(np.float32))
    ends = [tuple(line.coords[k]) for line in found.geometry for k in (0, -1)]
    meeting = [end for end in set(ends) if ends.count(end) >= 3]
    assert meeting
    assert min(np.hypot(x - WEST - 90, y - SOUTH - 100) for x, y in meeting) < 4.0


def test_what_lies_farther_than_the_margin_does_not_change_a_course() -> None:
    """Where two fields both see a bench, they draw it alike."""
    heights = bench(0.4, 3.0)
    part = GRID.part((slice(0, 400), slice(0, 320)))
    nothing = dict.fromkeys(TRACK_COUNTS, np.zeros(GRID.shape, np.float32))
    less = {name: values[:, :320] for name, values in nothing.items()}
    middle = shapely.box(WEST + 40, SOUTH, WEST + 90, NORTH)
    one = shapely.union_all(draw_tracks(heights, nothing, GRID, watercourses=[]).geometry).intersection(middle)
    other = draw_tracks(heights[:, :320].copy(), less, part, watercourses=[])
    assert one.length > 45
    assert one.hausdorff_distance(shapely.union_all(other.geometry).intersection(middle)) < 1e-3
