"""Reading tiles and writing them back."""

from __future__ import annotations

import datetime
from pathlib import Path

import laspy
import numpy as np
import pyproj
import pytest

from pipeline.errors import SurveyError
from pipeline.files.las import tiles as las
from pipeline.intake.placement import Placement
from pipeline.returns.cloud import Cloud
from tests.made_tiles import SOUTH, UTM, WEST, made_header, made_points, made_tile

HERE = Placement(UTM, UTM, 1.0)


def same_but_for_class(before: laspy.LasData, after: laspy.LasData) -> bool:
    """Whether two tiles agree in every field but the class, point by point."""
    names = [name for name in before.point_format.dimension_names if name != "classification"]
    assert names == [name for name in after.point_format.dimension_names if name != "classification"]
    return all(np.array_equal(np.asarray(before[name]), np.asarray(after[name])) for name in names)


@pytest.mark.parametrize("ending", ["las", "laz"])
@pytest.mark.parametrize("point_format", range(11))
def test_every_point_format_survives_being_written_back(tmp_path: Path, point_format: int, ending: str) -> None:
    """Points, order and all fields stay, extra bytes, colours and wave form places too; only the class changes."""
    header = made_header(point_format)
    header.add_extra_dim(laspy.ExtraBytesParams("reflectance", np.float32))
    points = made_points(header, n=500)
    points.reflectance = np.linspace(-3, 3, 500)
    tile = tmp_path / f"a.{ending}"
    points.write(tile)

    cloud = las.read_cloud(tile, HERE)
    classes = np.resize(np.array([2, 5, 18], np.uint8), 500)
    las.write_classified(tmp_path / "b.laz", tile, classes)

    before, after = laspy.read(tile), laspy.read(tmp_path / "b.laz")
    assert after.header.point_format.id == point_format
    assert same_but_for_class(before, after)
    assert np.array_equal(np.asarray(after.classification), classes)
    assert np.array_equal(cloud.producer_class, np.asarray(before.classification))
    np.testing.assert_allclose(cloud.enh, before.xyz, atol=1e-9)


def test_the_header_agrees_with_laspy(tmp_path: Path) -> None:
    """Our own reading of the public header block says what laspy's says."""
    tile = made_tile(tmp_path / "a.laz", n=1234)
    header = las.read_header(tile)
    with laspy.open(tile) as reader:
        theirs = reader.header
    assert header.n_points == theirs.point_count == 1234
    assert header.bounds == (*theirs.mins[:2], *theirs.maxs[:2])
    assert (header.lowest, header.highest) == (theirs.mins[2], theirs.maxs[2])
    assert header.version == "1.4"
    assert header.point_format == theirs.point_format.id
    assert header.n_by_return[: len(theirs.number_of_points_by_return)] == tuple(theirs.number_of_points_by_return)
    assert header.scales == tuple(theirs.scales)
    assert header.offsets == tuple(theirs.offsets)
    assert header.written == theirs.creation_date
    assert header.software == theirs.generating_software
    assert header.is_compressed
    assert not header.is_copc
    assert pyproj.CRS.from_wkt(header.crs.plan_wkt or "").equals(theirs.parse_crs())


def test_writing_back_is_reproducible(tmp_path: Path) -> None:
    """The same points give the same bytes, the date of the original included."""
    tile = made_tile(tmp_path / "a.laz")
    classes = np.full(2000, 2, np.uint8)
    las.write_classified(tmp_path / "b.laz", tile, classes)
    las.write_classified(tmp_path / "c.laz", tile, classes)
    assert (tmp_path / "b.laz").read_bytes() == (tmp_path / "c.laz").read_bytes()
    assert las.read_header(tmp_path / "b.laz").written == las.read_header(tile).written


def test_writing_back_twice_changes_nothing_more(tmp_path: Path) -> None:
    """A tile we wrote, written again with the same classes, is the same file."""
    tile = made_tile(tmp_path / "a.las")
    classes = las.read_cloud(tile, HERE).producer_class
    las.write_classified(tmp_path / "b.laz", tile, classes)
    las.write_classified(tmp_path / "c.laz", tmp_path / "b.laz", classes)
    assert (tmp_path / "b.laz").read_bytes() == (tmp_path / "c.laz").read_bytes()


def test_records_of_others_are_kept(tmp_path: Path) -> None:
    """Variable length records before and after the points, of whatever program, stay as they are."""
    header = made_header(6)
    header.vlrs.append(laspy.VLR("someone", 7, "Höhe".encode("latin-1"), b"before the points"))
    # laspy understands class names and would write those it cannot print without their odd letters.
    names = b"\x02Boden-Fl\xe4che\0\0\0"
    header.vlrs.append(laspy.VLR("LASF_Spec", 0, "", names))
    points = made_points(header, n=100)
    points.evlrs = laspy.vlrs.vlrlist.VLRList([laspy.VLR("someone", 8, "after", b"after the points")])
    with laspy.open(tmp_path / "a.las", "w", header=header, encoding_errors="surrogateescape") as writer:
        writer.write_points(points.points)
        writer.write_evlrs(points.evlrs)
    las.write_classified(tmp_path / "b.laz", tmp_path / "a.las", np.ones(100, np.uint8))
    after = laspy.read(tmp_path / "b.laz")
    assert [vlr.record_data for vlr in after.vlrs if vlr.user_id == "someone"] == [b"before the points"]
    assert [vlr.record_data for vlr in after.evlrs or []] == [b"after the points"]
    raw = (tmp_path / "b.laz").read_bytes()
    assert names in raw
    assert "Höhe".encode("latin-1") in raw


def test_places_of_wave_forms_go_and_other_records_after_the_points_stay(tmp_path: Path) -> None:
    """Packed wave forms (LAS 1.4 R15, record 65535) are found by their place in the file, which is another one now."""
    points = made_points(made_header(9), n=100)
    records = [laspy.VLR("LASF_Spec", 65535, "", bytes(300)), laspy.VLR("someone", 8, "", b"after the points")]
    points.evlrs = laspy.vlrs.vlrlist.VLRList(records)
    points.write(tmp_path / "a.las")
    las.write_classified(tmp_path / "b.laz", tmp_path / "a.las", np.ones(100, np.uint8))
    after = laspy.read(tmp_path / "b.laz")
    assert [vlr.record_data for vlr in after.evlrs or []] == [b"after the points"]


def test_extra_bytes_nobody_describes_are_kept(tmp_path: Path) -> None:
    """Some software puts bytes behind each point and no record about them into the header."""
    header = made_header(6)
    header.add_extra_dim(laspy.ExtraBytesParams("reflectance", np.float32))
    points = made_points(header, n=100)
    points.reflectance = np.linspace(-3, 3, 100)
    points.write(tmp_path / "a.las")
    raw = (tmp_path / "a.las").read_bytes()
    at = raw.index(b"LASF_Spec")
    (tmp_path / "a.las").write_bytes(raw[:at] + b"LASF_Else" + raw[at + 9 :])
    las.write_classified(tmp_path / "b.laz", tmp_path / "a.las", np.ones(100, np.uint8))
    before, after = laspy.read(tmp_path / "a.las"), laspy.read(tmp_path / "b.laz")
    assert before.ExtraBytes.view(np.float32).ravel().tolist() == points.reflectance.tolist()
    assert np.array_equal(before.ExtraBytes, after.ExtraBytes)


@pytest.mark.parametrize(("point_format", "minor"), [(1, 0), (1, 1), (5, 2), (3, 5)])
def test_tiles_of_odd_versions_are_written_in_one_that_laspy_knows(
    tmp_path: Path, point_format: int, minor: int
) -> None:
    """LAS 1.0, and headers whose version does not know their point format."""
    header = laspy.LasHeader(point_format=point_format, version="1.4")
    header.scales = [0.01] * 3
    made_points(header, n=100).write(tmp_path / "a.las")
    raw = bytearray((tmp_path / "a.las").read_bytes())
    raw[25] = minor
    if minor < 4:
        raw[107:111] = np.uint32(100).tobytes()
    else:  # LAS 1.5 has 18 bytes more
        raw = raw[:375] + bytes(18) + raw[375:]
        raw[94:96], raw[96:100] = np.uint16(393).tobytes(), np.uint32(393).tobytes()
    (tmp_path / "a.las").write_bytes(raw)
    las.write_classified(tmp_path / "b.laz", tmp_path / "a.las", np.full(100, 2, np.uint8))
    before, after = laspy.read(tmp_path / "a.las"), laspy.read(tmp_path / "b.laz")
    assert same_but_for_class(before, after)
    assert after.header.point_count == 100


@pytest.mark.parametrize("day_and_year", [(0, 2017), (0, 0), (366, 2020)])
def test_the_date_of_a_tile_stays_what_it_is(tmp_path: Path, day_and_year: tuple[int, int]) -> None:
    """Days that are none, too: laspy would write today's date in their place."""
    tile = made_tile(tmp_path / "a.las")
    raw = bytearray(tile.read_bytes())
    raw[90:94] = np.array(day_and_year, np.uint16).tobytes()
    tile.write_bytes(raw)
    las.write_classified(tmp_path / "b.laz", tile, np.ones(2000, np.uint8))
    assert (tmp_path / "b.laz").read_bytes()[90:94] == raw[90:94]
    expected = datetime.date(2020, 12, 31) if day_and_year[0] else None
    assert las.read_header(tile).written == expected


def test_an_empty_tile_can_be_written_back(tmp_path: Path) -> None:
    """No points, no trouble: refusing empty tiles is the tile table's business."""
    tile = made_tile(tmp_path / "a.laz", n=0)
    assert len(las.read_cloud(tile, HERE)) == 0
    las.write_classified(tmp_path / "b.laz", tile, np.empty(0, np.uint8))
    assert len(laspy.read(tmp_path / "b.laz")) == 0


def test_old_formats_refuse_classes_that_do_not_fit(tmp_path: Path) -> None:
    """Five bits hold 31 at most; a larger class would spill into the flags."""
    tile = made_tile(tmp_path / "a.las", point_format=1)
    with pytest.raises(ValueError, match="does not fit"):
        las.write_classified(tmp_path / "b.laz", tile, np.full(2000, 40, np.uint8))
    with pytest.raises(ValueError, match="classes for"):
        las.write_classified(tmp_path / "b.laz", tile, np.ones(3, np.uint8))
    assert not (tmp_path / "b.laz").exists()


# ---------------------------------------------------------------- which points count


@pytest.mark.parametrize("point_format", [1, 6])
def test_withheld_and_synthetic_points_do_not_count(tmp_path: Path, point_format: int) -> None:
    """They stay in the tile, but decide nothing (LAS 1.4 R15: withheld is as good as deleted); key points count."""
    points = made_points(made_header(point_format), n=6)
    points.withheld = np.array([1, 0, 0, 0, 0, 0])
    points.synthetic = np.array([0, 1, 0, 0, 0, 0])
    points.key_point = np.array([0, 0, 1, 0, 0, 0])
    points.write(tmp_path / "a.las")
    cloud = las.read_cloud(tmp_path / "a.las", HERE)
    assert cloud.is_usable.tolist() == [False, False, True, True, True, True]


def test_overlap_is_told_by_flag_or_by_the_old_class(tmp_path: Path) -> None:
    """Formats from 6 have a flag, older ones class 12 (LAS 1.4 R15, tables 9 and 16); the points count."""
    points = made_points(made_header(6), n=3)
    points.overlap = np.array([0, 1, 0])
    points.write(tmp_path / "new.las")
    points = made_points(made_header(1), n=3)
    points.classification = np.array([2, 12, 1])
    points.write(tmp_path / "old.las")
    for name in ("new.las", "old.las"):
        cloud = las.read_cloud(tmp_path / name, HERE)
        assert cloud.is_overlap.tolist() == [False, True, False]
        assert cloud.is_usable.all()


def test_virtual_points_do_not_count(tmp_path: Path) -> None:
    """Return number 0 among numbered returns marks points nobody measured; where nothing is numbered, all count."""
    points = made_points(made_header(6), n=4)
    points.return_number = points.number_of_returns = np.array([1, 0, 1, 1])
    points.classification = np.array([2, 66, 2, 2])
    points.write(tmp_path / "some.laz")
    points.return_number = points.number_of_returns = np.zeros(4, np.uint8)
    points.write(tmp_path / "none.laz")
    some, none = (las.read_cloud(tmp_path / name, HERE) for name in ("some.laz", "none.laz"))
    assert some.is_usable.tolist() == [True, False, True, True]
    assert some.producer_class.tolist() == [2, 66, 2, 2]
    assert none.is_usable.all()


def test_repeated_points_count_once(tmp_path: Path) -> None:
    """Of the same return read twice one counts, whatever order they come in."""
    points = made_points(made_header(6), n=300)
    twice = np.concatenate((np.arange(300), [7, 42, 42]))
    points.points = points.points[twice]
    points.write(tmp_path / "a.laz")
    points.points = points.points[np.arange(302, -1, -1)]
    points.write(tmp_path / "b.laz")
    forward, backward = (las.read_cloud(tmp_path / name, HERE) for name in ("a.laz", "b.laz"))
    assert forward.is_usable.sum() == backward.is_usable.sum() == 300
    assert sorted(forward.east[forward.is_usable]) == sorted(backward.east[backward.is_usable])


def test_returns_of_one_pulse_are_not_repeats(tmp_path: Path) -> None:
    """Two returns of one pulse at one place but of different number both count."""
    points = made_points(made_header(6), n=2)
    points.x, points.y, points.z = np.full(2, WEST), np.full(2, SOUTH), np.full(2, 200.0)
    points.gps_time, points.point_source_id = np.full(2, 3e8), np.ones(2, np.uint16)
    points.return_number, points.number_of_returns = np.array([1, 2]), np.array([2, 2])
    points.write(tmp_path / "a.laz")
    assert las.read_cloud(tmp_path / "a.laz", HERE).is_usable.all()


def test_times_that_are_no_numbers_become_none(tmp_path: Path) -> None:
    """NaN among the GPS times neither spoils the others nor loses the point."""
    points = made_points(made_header(6), n=3)
    points.gps_time = np.array([np.nan, 3e8, np.inf])
    points.write(tmp_path / "a.las")
    cloud = las.read_cloud(tmp_path / "a.las", HERE)
    assert cloud.gps_time.tolist() == [0.0, 3e8, 0.0]
    assert cloud.is_usable.all()


def test_totals_left_at_one_are_raised_to_the_return_number(tmp_path: Path) -> None:
    """A second return of one return is a contradiction some software writes."""
    points = made_points(made_header(6), n=3)
    points.return_number, points.number_of_returns = np.array([1, 2, 3]), np.array([1, 1, 3])
    points.write(tmp_path / "a.laz")
    assert las.read_cloud(tmp_path / "a.laz", HERE).n_returns.tolist() == [1, 2, 3]


def test_scan_angles_are_degrees_in_all_formats(tmp_path: Path) -> None:
    """Whole degrees before format 6, steps of 0.006 degrees from it on (LAS 1.4 R15, table 18)."""
    old, new = made_points(made_header(1), n=2), made_points(made_header(6), n=2)
    old.scan_angle_rank, new.scan_angle = [-15, 20], [-2500, 3333]
    old.write(tmp_path / "old.las")
    new.write(tmp_path / "new.las")
    assert las.read_cloud(tmp_path / "old.las", HERE).scan_angle_deg.tolist() == [-15.0, 20.0]
    angles_deg = las.read_cloud(tmp_path / "new.las", HERE).scan_angle_deg
    np.testing.assert_allclose(angles_deg, [-15.0, 19.998], atol=1e-4)


def test_feet_become_metres(tmp_path: Path) -> None:
    """Distances of a tile in US survey feet come out in metres, heights by their own unit."""
    tile = made_tile(tmp_path / "a.laz", crs="EPSG:2903", west=1_639_600, south=1_454_500, side=100, level=7000)
    feet = laspy.read(tile).xyz
    cloud = las.read_cloud(tile, Placement("EPSG:2903", "EPSG:26913", 0.3048))
    np.testing.assert_allclose(cloud.height, feet[:, 2] * 0.3048, atol=1e-6)
    in_feet = np.hypot(*(feet[1:, :2] - feet[:-1, :2]).T)
    in_metres = np.hypot(np.diff(cloud.east), np.diff(cloud.north))
    # Two projections differ by their scale factors, some 0.0005 here.
    np.testing.assert_allclose(in_metres, in_feet * 1200 / 3937, rtol=1e-3)


# ---------------------------------------------------------------- strays and samples


def with_stray(path: Path) -> Path:
    """A dense tile with one point 300 km to the east, which its header includes."""
    points = made_points(made_header(6), n=2000)
    x = np.array(points.x)
    x[1000] += 300_000
    points.x = x
    points.write(path)
    return path


@pytest.mark.parametrize("ending", ["las", "laz"])
def test_a_stray_does_not_stretch_the_tile(tmp_path: Path, ending: str) -> None:
    """The bounds are those of the tile's body, and the stray does not count."""
    tile = with_stray(tmp_path / f"a.{ending}")
    header = las.read_header(tile)
    bounds = las.points_bounds(header)
    assert header.bounds[2] > WEST + 300_000
    assert bounds[2] <= WEST + 50
    cloud = las.read_cloud(tile, HERE, usable_bounds=bounds)
    assert np.flatnonzero(~cloud.is_usable).tolist() == [1000]
    assert len(cloud) == 2000


def test_a_dense_tile_keeps_the_bounds_of_its_header(tmp_path: Path) -> None:
    """No points are moved out of a tile without strays."""
    header = las.read_header(made_tile(tmp_path / "a.laz"))
    assert las.points_bounds(header) == header.bounds


def test_bounds_of_another_place_are_corrected(tmp_path: Path) -> None:
    """A header that speaks of somewhere else is overruled by the points, and without that the tile is refused."""
    tile = made_tile(tmp_path / "a.las")
    raw = bytearray(tile.read_bytes())
    raw[179:195] = np.array([WEST - 900, WEST - 1000]).tobytes()
    tile.write_bytes(raw)
    header = las.read_header(tile)
    assert las.points_bounds(header)[0] >= WEST
    with pytest.raises(SurveyError, match="outside the extent"):
        las.read_cloud(tile, HERE, usable_bounds=header.bounds)


@pytest.mark.parametrize("ending", ["las", "laz"])
def test_a_sample_holds_whole_stretches_of_the_tile(tmp_path: Path, ending: str) -> None:
    """About as many points as asked for, each of them a point of the tile, from both its halves."""
    tile = made_tile(tmp_path / f"a.{ending}", n=400_000)
    sample = las.sample_points(tile, HERE, n_points=100_000)
    assert len(sample) == 100_000
    whole = las.read_cloud(tile, HERE)
    at = np.searchsorted(whole.gps_time, sample.gps_time)
    assert np.array_equal(whole.enh[at], sample.enh)
    assert at.min() < 200_000 <= at.max()


def test_a_sample_as_large_as_the_tile_is_the_tile(tmp_path: Path) -> None:
    """Nothing is left out where all was asked for."""
    tile = made_tile(tmp_path / "a.laz", n=1000)
    assert len(las.sample_points(tile, HERE, n_points=5000)) == 1000


# ---------------------------------------------------------------- in pieces


@pytest.mark.parametrize("ending", ["las", "laz"])
@pytest.mark.parametrize("piece_points", [700, 1000, 10**6])
def test_a_tile_in_pieces_is_the_tile_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ending: str, piece_points: int
) -> None:
    """Cloud and the tile written anew are the same, whatever the size of the pieces."""
    tile = made_tile(tmp_path / f"a.{ending}", n=2000)
    whole = las.read_cloud(tile, HERE)
    pieces = list(las.read_pieces(tile, HERE, n_points=piece_points))
    assert [start for start, _ in pieces] == list(range(0, 2000, piece_points))
    joined = Cloud.join([cloud for _, cloud in pieces])
    assert all(np.array_equal(column, getattr(whole, name)) for name, column in vars(joined).items())
    las.write_classified(tmp_path / "b.laz", tile, whole.producer_class)
    monkeypatch.setattr(las, "PIECE_POINTS", piece_points)
    las.write_classified(tmp_path / "c.laz", tile, whole.producer_class)
    assert (tmp_path / "b.laz").read_bytes() == (tmp_path / "c.laz").read_bytes()


def test_pieces_leave_strays_and_wrong_headers_out_too(tmp_path: Path) -> None:
    """As at once: strays do not count, and a tile that mostly lies elsewhere is refused."""
    tile = with_stray(tmp_path / "a.laz")
    bounds = las.points_bounds(las.read_header(tile))
    ((_, cloud),) = las.read_pieces(tile, HERE, usable_bounds=bounds)
    assert np.flatnonzero(~cloud.is_usable).tolist() == [1000]
    with pytest.raises(SurveyError, match="outside the extent"):
        list(las.read_pieces(tile, HERE, usable_bounds=(0, 0, 10, 10)))


def test_of_two_counts_the_older_one_holds(tmp_path: Path) -> None:
    """Some software writes LAS 1.4 of an old point format and fills only the counts of before (LAS 1.4 R15, 2.4)."""
    header = laspy.LasHeader(point_format=1, version="1.4")
    header.scales = [0.01] * 3
    tile = tmp_path / "a.las"
    made_points(header, n=100).write(tile)
    raw = bytearray(tile.read_bytes())
    raw[107:131] = np.array([100, 100, 0, 0, 0, 0], np.uint32).tobytes()
    raw[247:375] = bytes(128)
    tile.write_bytes(raw)
    said = las.read_header(tile)
    assert (said.n_points, said.n_by_return) == (100, (100, 0, 0, 0, 0))
    assert len(las.read_cloud(tile, HERE)) == 100
    las.write_classified(tmp_path / "b.laz", tile, np.full(100, 2, np.uint8))
    assert len(laspy.read(tmp_path / "b.laz")) == 100


@pytest.mark.parametrize("point_format", [1, 6, 7])
def test_the_scanner_channel_is_read_where_the_format_has_one(tmp_path: Path, point_format: int) -> None:
    """Formats from 6 on carry two bits for it (LAS 1.4 R15, table 16); in the others all returns are of channel 0."""
    points = made_points(made_header(point_format), n=400)
    expected = np.zeros(400, np.uint8)
    if point_format >= 6:
        expected = (np.arange(400) % 4).astype(np.uint8)
        points["scanner_channel"] = expected
    points.write(tmp_path / "a.laz")
    assert np.array_equal(las.read_cloud(tmp_path / "a.laz", HERE).channel, expected)
