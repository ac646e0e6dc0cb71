"""What the survey says: density, gaps, dates, season, and what can be found."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.errors import SurveyError
from pipeline.files.disk.pieces import pieces_of
from pipeline.files.intake import read_samples, take_in
from pipeline.intake.leaf_calendar import LeafDays
from pipeline.intake.placement import Placement
from pipeline.intake.tile_crs import TileCrs, crs_from_geotiff_keys
from pipeline.intake.tile_header import TileHeader
from pipeline.intake.tile_table import Tile, TileTable
from pipeline.intake.working_crs import WorkingCrs
from pipeline.lattice.grid import Bounds
from pipeline.remembered import Remembered, nothing_remembered
from pipeline.returns.cloud import Cloud
from pipeline.survey.record import Survey, survey_record
from pipeline.survey.sample.days import flight_days
from pipeline.survey.sample.near_ground import near_ground
from pipeline.survey.survey import survey_tiles
from pipeline.survey.word import describe_survey
from tests.made_tiles import made_tile

LEAF_DAYS = LeafDays(out_by_the_sea=110.0, out_inland=121.0, down=305.0)
UTM = "EPSG:25832"
WEST, SOUTH = 412_500.0, 6_051_300.0
WORKING = WorkingCrs(UTM, "ETRS89 / UTM zone 32N", UTM, "ETRS89 / UTM zone 32N", reason="metres already")
METRES = crs_from_geotiff_keys({3072: 25832, 4099: 9001})
# 1 July 2020, 12:00 as adjusted GPS time: 14 787 days and 12 hours after 6 January 1980, less 1e9 s.
JULY_S = 14_787.5 * 86_400 - 1e9


def pulses(bounds: Bounds, *, per_m2: float, seed: int = 1) -> np.ndarray:
    """(n, 2) places of pulses, one in each cell of a jittered lattice, so that the density is exact."""
    west, south, east, north = bounds
    side = 1 / np.sqrt(per_m2)
    col, row = np.meshgrid(np.arange(west, east - side / 2, side), np.arange(south, north - side / 2, side))
    places = np.column_stack((col.ravel(), row.ravel()))
    return places + np.random.default_rng(seed).uniform(0, side, places.shape)


def ground_cloud(bounds: Bounds, *, per_m2: float = 4.0, slope: float = 0.0, seed: int = 1) -> Cloud:
    """Single returns from a plane that rises to the east."""
    places = pulses(bounds, per_m2=per_m2, seed=seed)
    n = len(places)
    height = 200 + slope * (places[:, 0] - WEST)
    time = JULY_S + np.arange(n) * 1e-5
    return Cloud.of(np.column_stack((places, height)), gps_time=time, flight_line=np.ones(n, np.uint16))


def forest_cloud(bounds: Bounds, *, per_m2: float = 8.0, through: float = 0.4, slope: float = 0.0) -> Cloud:
    """A canopy 12 to 18 m up: every pulse meets it, some go on to the ground as second returns."""
    ground = ground_cloud(bounds, per_m2=per_m2, slope=slope)
    rng = np.random.default_rng(2)
    reaches = rng.uniform(size=len(ground)) < through
    n_returns = np.where(reaches, 2, 1).astype(np.uint8)
    above = np.column_stack((ground.en, ground.height + rng.uniform(12, 18, len(ground))))
    shared = {"gps_time": ground.gps_time, "flight_line": ground.flight_line}
    canopy = Cloud.of(above, n_returns=n_returns, **shared)
    below = Cloud.of(ground.enh, n_returns=n_returns, return_number=np.full(len(ground), 2, np.uint8), **shared)
    return Cloud.join([canopy, below.take(reaches)])


class Told(dict[str, Cloud]):
    """Clouds by the names of their tiles, which tell who asks for one."""

    def __init__(self, clouds: dict[str, Cloud], asked: list[str]) -> None:
        super().__init__(clouds)
        self.asked = asked

    def __getitem__(self, name: str) -> Cloud:
        self.asked.append(name)
        return super().__getitem__(name)


def survey_of(
    *clouds: Cloud,
    gap_m: float = 0.0,
    boundary: BaseGeometry | None = None,
    crs: TileCrs = METRES,
    remembered: Remembered = nothing_remembered,
    asked: list[str] | None = None,
    contents: Sequence[str] = ("0", "1", "2"),
) -> Survey:
    """The survey of tiles side by side, 100 m square, each read whole; `asked` is told the tiles that are."""
    tiles, headers, samples = [], [], {}
    for index, cloud in enumerate(clouds):
        bounds = (WEST + index * 100, SOUTH, WEST + (index + 1) * 100 - gap_m, SOUTH + 100)
        placement = Placement(UTM, UTM, 1.0)
        tiles.append(Tile(f"t{index}", f"t{index}.laz", contents[index], len(cloud), bounds, placement))
        headers.append(header_of(tiles[-1], crs))
        samples[f"t{index}"] = cloud
    told = Told(samples, [] if asked is None else asked)
    return survey_tiles(
        TileTable(UTM, tuple(tiles)), WORKING, headers, told, boundary=boundary, leaf_days=LEAF_DAYS,
        remembered=remembered,
    )  # fmt: skip


def header_of(tile: Tile, crs: TileCrs) -> TileHeader:
    """A header as `read_header` would give it."""
    return TileHeader(
        path=Path(tile.path), version="1.4", point_format=6, n_points=tile.n_points, n_by_return=(), record_bytes=30,
        points_offset=375, scales=(0.01, 0.01, 0.01), offsets=(0.0, 0.0, 0.0), bounds=tile.bounds, lowest=0.0,
        highest=1.0, crs=crs, time_kind="adjusted", has_synthetic_returns=False, is_compressed=True, is_copc=False,
        n_bytes=1, system="", software="", written=None,
    )  # fmt: skip


FIRST = (WEST, SOUTH, WEST + 100, SOUTH + 100)
SECOND = (WEST + 100, SOUTH, WEST + 200, SOUTH + 100)


# ---------------------------------------------------------------- density


@pytest.mark.parametrize("per_m2", [0.25, 1.0, 4.0])
def test_density_of_open_land_is_what_was_strewn(per_m2: float) -> None:
    """On bare flat ground every pulse is a ground return."""
    density = survey_of(ground_cloud(FIRST, per_m2=per_m2)).density
    assert density.pulses_per_m2 == pytest.approx(per_m2, rel=0.01)
    assert density.ground_per_m2 == pytest.approx(per_m2, rel=0.01)
    assert density.returns_per_pulse == 1.0
    assert density.class_ground_per_m2 == 0.0


@pytest.mark.parametrize("slope", [0.0, 0.6])
def test_ground_under_a_canopy_is_what_came_through(slope: float) -> None:
    """Four pulses in ten reach the ground, on the flat and on a slope of 31 degrees: within a tenth of that."""
    density = survey_of(forest_cloud(FIRST, slope=slope)).density
    assert density.pulses_per_m2 == pytest.approx(8.0, rel=0.01)
    assert density.ground_per_m2 == pytest.approx(3.2, rel=0.1)
    assert density.returns_per_pulse == pytest.approx(1.4, rel=0.02)


def test_no_canopy_return_passes_for_ground() -> None:
    """What hangs 12 m up is not ground, even where a cell holds nothing else, as one in six does here."""
    cloud = forest_cloud(FIRST, per_m2=2.0, through=0.1)
    near = near_ground(cloud)
    canopy = cloud.return_number == 1
    assert near[~canopy].mean() > 0.8
    assert near[canopy].mean() < 0.02


def test_repeated_and_noisy_points_do_not_raise_the_density() -> None:
    """The same points twice, and a cloud of noise, change nothing but the cautions."""
    cloud = ground_cloud(FIRST)
    noise = Cloud.of(cloud.enh + np.array([0, 0, 50]), producer_class=np.full(len(cloud), 18, np.uint8))
    survey = survey_of(Cloud.join([cloud, cloud, noise]))
    assert survey.density.pulses_per_m2 == pytest.approx(4.0, rel=0.01)
    assert any("67% of the points" in caution for caution in survey.cautions)


def test_points_that_all_are_withheld_are_refused() -> None:
    """Nothing can be said of nothing."""
    cloud = ground_cloud(FIRST)
    nothing = Cloud(**{**vars(cloud), "is_usable": np.zeros(len(cloud), np.bool_)})
    with pytest.raises(SurveyError, match="withheld"):
        survey_of(nothing)


def test_a_sample_says_about_the_same_as_the_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Read in part, densities stay within a twentieth; that holes were not looked for is said."""
    tile = made_tile(tmp_path / "a.laz", n=400_000, side=300.0)
    taken = take_in([tile])
    samples = [read_samples(taken.table)]
    monkeypatch.setattr("pipeline.files.intake.WHOLE_POINTS", 0)
    monkeypatch.setattr("pipeline.files.intake.SAMPLE_POINTS", 100_000)
    samples.append(read_samples(taken.table))
    surveys = [survey_tiles(taken.table, taken.working, taken.headers, read, leaf_days=LEAF_DAYS) for read in samples]
    assert [survey.read_ratio for survey in surveys] == [1.0, 0.25]
    for read in surveys:
        assert read.density.pulses_per_m2 == pytest.approx(400_000 / 300**2, rel=0.05)
        assert read.density.ground_per_m2 == pytest.approx(400_000 / 300**2, rel=0.05)
    assert surveys[1].extent.holes_m2 is None
    assert "a sample of 25%" in describe_survey(surveys[1])


# ---------------------------------------------------------------- flight lines


@pytest.mark.parametrize("offset_m", [0.0, 0.05, -0.25])
@pytest.mark.parametrize("slope", [0.0, 0.5])
def test_flight_lines_that_differ_in_height_are_found(offset_m: float, slope: float) -> None:
    """A second line over half the tile, moved up or down: its offset comes out to a centimetre or two."""
    first = ground_cloud(FIRST, slope=slope)
    second = ground_cloud((WEST + 50, SOUTH, WEST + 100, SOUTH + 100), slope=slope, seed=7)
    shift = {"height": second.height + offset_m, "flight_line": second.flight_line + 1}
    survey = survey_of(Cloud.join([first, Cloud(**{**vars(second), **shift, "gps_time": second.gps_time + 1})]))
    worst = survey.flight.worst_offset
    assert worst is not None
    assert (worst.first, worst.second) == (1, 2)
    assert worst.offset_m == pytest.approx(offset_m, abs=0.02)
    assert any("differ by 0.25 m" in caution for caution in survey.cautions) == (offset_m == -0.25)


def test_lines_that_do_not_meet_are_not_compared() -> None:
    """One line, or two side by side, say nothing about each other."""
    assert survey_of(ground_cloud(FIRST)).flight.worst_offset is None
    west, east = (ground_cloud((WEST + x, SOUTH, WEST + x + 48, SOUTH + 100)) for x in (0, 52))
    beside = Cloud.join([west, Cloud(**{**vars(east), "flight_line": east.flight_line + 1})])
    assert survey_of(beside).flight.worst_offset is None


# ---------------------------------------------------------------- gaps


def test_a_hole_is_measured_and_none_is_invented() -> None:
    """A pond 20 m square leaves 400 m2 without returns, give or take the cells on its edge; a full tile has none."""
    cloud = ground_cloud(FIRST)
    in_pond = (abs(cloud.east - WEST - 50) < 10) & (abs(cloud.north - SOUTH - 50) < 10)
    extent = survey_of(cloud.take(~in_pond)).extent
    assert extent.holes_m2 == pytest.approx(400, rel=0.25)
    assert extent.largest_hole_m2 == extent.holes_m2
    assert extent.covered_m2 == pytest.approx(10_000 - 400, rel=0.02)
    assert survey_of(cloud).extent.holes_m2 == 0.0


def test_a_hole_across_two_tiles_is_one_hole() -> None:
    """Where tiles meet says nothing about the ground."""
    clouds = [ground_cloud(FIRST), ground_cloud(SECOND, seed=2)]
    dry = [c.take((abs(c.east - WEST - 100) > 10) | (abs(c.north - SOUTH - 50) > 10)) for c in clouds]
    # Survey tiles commonly end a centimetre before the next begins.
    extent = survey_of(*dry, gap_m=0.01).extent
    assert extent.largest_hole_m2 == pytest.approx(400, rel=0.25)


def test_ground_without_tiles_is_measured_exactly() -> None:
    """A boundary that reaches 30 m beyond a tile 100 m wide lacks 3000 m2."""
    boundary = shapely.box(WEST, SOUTH, WEST + 130, SOUTH + 100)
    extent = survey_of(ground_cloud(FIRST), boundary=boundary).extent
    assert extent.outside_m2 == pytest.approx(3000, abs=1e-6)
    assert survey_of(ground_cloud(FIRST)).extent.outside_m2 == 0.0


def test_a_boundary_elsewhere_is_refused() -> None:
    """How far away it is helps to see what went wrong."""
    with pytest.raises(SurveyError, match=r"outside the tiles, 5\.0 km away"):
        survey_of(ground_cloud(FIRST), boundary=shapely.box(WEST + 5100, SOUTH, WEST + 5200, SOUTH + 100))


# ---------------------------------------------------------------- dates


def test_adjusted_times_are_dated() -> None:
    """GPS second 1 000 000 000 fell on 14 September 2011, 01:46:40 GPS time (arithmetic on the GPS epoch)."""
    assert flight_days(np.array([0.0, 700_000.0])) == (datetime.date(2011, 9, 14), datetime.date(2011, 9, 22))
    assert flight_days(np.array([JULY_S])) == (datetime.date(2020, 7, 1),)


def test_full_times_are_dated_too() -> None:
    """Some files hold all seconds since 1980."""
    assert flight_days(np.array([JULY_S + 1e9])) == (datetime.date(2020, 7, 1),)


@pytest.mark.parametrize("times_s", [[], [0.0], [347_074.7, 347_883.4]])
def test_seconds_of_a_week_are_not_dated(times_s: list[float]) -> None:
    """A week has 604 800 seconds, and nobody knows which week."""
    assert flight_days(np.array(times_s)) == ()


# ---------------------------------------------------------------- in words


def test_the_text_says_what_matters() -> None:
    """Tiles, CRS, units, densities, date, season and every verdict, in lines that fit a terminal."""
    text = describe_survey(survey_of(forest_cloud(FIRST)))
    for words in (
        "1 tile,", "ETRS89 / UTM zone 32N (EPSG:25832), metres", "Heights in metres.", "8 pulses/m2",
        "quality level 1", "2020-07-01, leaf-on", "no holes", "contours         good",
    ):  # fmt: skip
        assert words in text
    assert max(map(len, text.splitlines())) <= 120
    assert 18 <= len(text.splitlines()) <= 40


def test_heights_in_two_systems_are_cautioned() -> None:
    """Normal heights beside ellipsoidal ones would make a step of tens of metres."""
    tiles = [Tile(n, f"{n}.laz", n, 40_000, b, Placement(UTM, UTM, 1.0)) for n, b in (("a", FIRST), ("b", SECOND))]
    keys = {"a": {3072: 25832, 4096: 7837}, "b": {3072: 25832, 4096: 5783}}  # DHHN2016 and DHHN92
    headers = [header_of(tile, crs_from_geotiff_keys(keys[tile.name])) for tile in tiles]
    samples = {"a": ground_cloud(FIRST), "b": ground_cloud(SECOND)}
    survey = survey_tiles(TileTable(UTM, tuple(tiles)), WORKING, headers, samples, leaf_days=LEAF_DAYS)
    assert any("DHHN2016 height" in caution and "steps" in caution for caution in survey.cautions)
    assert survey_of(ground_cloud(FIRST), ground_cloud(SECOND)).cautions == survey_of(ground_cloud(FIRST)).cautions


def test_assumed_height_units_are_said() -> None:
    """Where the tiles are silent the mapper must know what was taken for granted."""
    text = describe_survey(survey_of(ground_cloud(FIRST), crs=crs_from_geotiff_keys({3072: 25832})))
    assert "assumed" in text
    assert "height_unit:" in text


def test_the_order_of_points_and_tiles_decides_nothing() -> None:
    """The same survey handed over otherwise reads the same."""
    clouds = [forest_cloud(FIRST), forest_cloud(SECOND)]
    mixed = [cloud.take(np.random.default_rng(3).permutation(len(cloud))) for cloud in clouds]
    assert describe_survey(survey_of(*clouds)) == describe_survey(survey_of(*mixed))


def test_the_record_is_plain_values() -> None:
    """For the manifest: days as text, nothing that JSON does not know."""
    record = survey_record(survey_of(ground_cloud(FIRST)))
    assert record["flight"]["days"] == ["2020-07-01"]  # type: ignore[index]
    assert record["n_tiles"] == 1


# ---------------------------------------------------------------- what is remembered of tiles


def test_a_survey_from_remembered_samples_is_that_from_all_points(tmp_path: Path) -> None:
    """One tile of three changes: the others are not read again, and every figure is that of a survey from nothing."""
    clouds = [forest_cloud(bounds, per_m2=2.0) for bounds in (FIRST, SECOND)]
    clouds.append(ground_cloud((WEST + 200, SOUTH, WEST + 300, SOUTH + 100), slope=0.3))
    with pieces_of(tmp_path / "s.sqlite", "code") as remembered:
        survey_of(*clouds, remembered=remembered)
    changed = clouds[2].take(np.hypot(clouds[2].east - WEST - 250, clouds[2].north - SOUTH - 50) > 20)
    asked: list[str] = []
    with pieces_of(tmp_path / "s.sqlite", "code") as remembered:
        again = survey_of(*clouds[:2], changed, remembered=remembered, asked=asked, contents=("0", "1", "new"))
    assert asked == ["t2"]
    assert again == survey_of(*clouds[:2], changed)
    assert again.extent.holes_m2 == pytest.approx(np.pi * 20**2, rel=0.2)
