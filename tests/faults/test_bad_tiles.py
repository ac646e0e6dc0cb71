"""Broken, odd and hostile tiles: each ends in one clear message or is read properly, in bounded time and memory."""

from __future__ import annotations

import os
import re
import struct
import subprocess
import sys
from pathlib import Path

import laspy
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.errors import SurveyError
from pipeline.files.intake import take_in
from pipeline.files.las import tiles as las
from pipeline.intake.placement import Placement
from tests.made_tiles import UTM, made_header, made_points, made_tile
from tests.paths import PROJECT, measuring_data

HERE = Placement(UTM, UTM, 1.0)

# Positions in the public header block (LAS 1.4 R15, table 3).
VERSION_MINOR, HEADER_BYTES, POINTS_OFFSET, N_RECORDS, POINT_FORMAT, RECORD_BYTES, LEGACY_COUNT = (
    25,
    94,
    96,
    100,
    104,
    105,
    107,
)
SCALES, MAX_X, EXTENDED_OFFSET, N_EXTENDED, COUNT = 131, 179, 235, 243, 247


def patched(tile: Path, position: int, layout: str, *values: float) -> Path:
    """A tile with some bytes of its header replaced."""
    raw = bytearray(tile.read_bytes())
    struct.pack_into(layout, raw, position, *values)
    tile.write_bytes(raw)
    return tile


def refused(tile: Path, words: str) -> None:
    """Reading the tile ends in a message that names it, says what is wrong and what to do."""
    with pytest.raises(SurveyError, match=words) as caught:
        las.read_cloud(tile, HERE)
    message = str(caught.value)
    assert message.startswith(f"{tile}: ")
    assert re.search(r"again|Convert|Name lidar|right\?", message)
    assert "\n" not in message


def in_a_cell(tile: Path, *, memory_mb: int = 1500, seconds: int = 20) -> str:
    """What reading a tile ends in, in a process of its own with little memory and little time."""
    code = (
        "import sys; from pathlib import Path\n"
        "if sys.platform == 'linux':\n"
        "    import resource\n"
        f"    resource.setrlimit(resource.RLIMIT_AS, ({memory_mb} << 20, {memory_mb} << 20))\n"
        "from pipeline.files.las import tiles as las; from pipeline.errors import SurveyError\n"
        "from pipeline.intake.placement import Placement\n"
        "try:\n"
        "    cloud = las.read_cloud(Path(sys.argv[1]), Placement('EPSG:25832', 'EPSG:25832', 1.0))\n"
        "    print(len(cloud), 'points')\n"
        "except SurveyError as error:\n"
        "    print('refused', error)\n"
    )
    # One thread each: on machines with many cores, threads alone would take the memory that is allowed.
    threads = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1", "RAYON_NUM_THREADS": "2"}
    done = subprocess.run(
        [sys.executable, "-c", code, tile],
        capture_output=True,
        text=True,
        timeout=seconds,
        cwd=PROJECT,
        check=False,
        env=os.environ | threads,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout


# ---------------------------------------------------------------- cut, empty, no tile at all


@pytest.mark.parametrize("share", [0.95, 0.5, 0.1])
@pytest.mark.parametrize("ending", ["las", "laz"])
def test_a_tile_cut_short(tmp_path: Path, ending: str, share: float) -> None:
    """A download that broke off, early or late."""
    tile = made_tile(tmp_path / f"a.{ending}", n=20_000)
    tile.write_bytes(tile.read_bytes()[: int(tile.stat().st_size * share)])
    refused(tile, "ends after|a part of it is missing|claims")


def test_a_tile_without_its_last_byte(tmp_path: Path) -> None:
    """Even one byte short is short."""
    for ending in ("las", "laz"):
        tile = made_tile(tmp_path / f"a.{ending}")
        tile.write_bytes(tile.read_bytes()[:-1])
        with pytest.raises(SurveyError, match=rf"a\.{ending}"):
            las.read_cloud(tile, HERE)


def test_a_file_that_is_no_tile(tmp_path: Path) -> None:
    """Text, nothing, and a header that breaks off."""
    for content, words in (
        (b"east;north;height\n", "no LAS"),
        (b"", "no LAS"),
        (b"LASF" + bytes(100), "within its header"),
    ):
        (tmp_path / "a.laz").write_bytes(content)
        refused(tmp_path / "a.laz", words)


def test_a_tile_that_was_never_finished(tmp_path: Path) -> None:
    """A writer that died leaves a header of zeros."""
    (tmp_path / "a.las").write_bytes(b"LASF" + bytes(20) + b"\x01\x04" + bytes(400))
    refused(tmp_path / "a.las", "never finished")


def test_a_tile_that_is_not_there(tmp_path: Path) -> None:
    """The name is in the message."""
    with pytest.raises(SurveyError, match=r"gone\.laz: cannot be read"):
        las.read_header(tmp_path / "gone.laz")


# ---------------------------------------------------------------- claims


@pytest.mark.parametrize("ending", ["las", "laz"])
@pytest.mark.parametrize(
    ("position", "layout", "value", "words"),
    [
        (N_RECORDS, "<I", 0xFFFFFFFF, "claims 4,294,967,295 records"),
        (N_RECORDS, "<I", 300, "records"),
        (POINTS_OFFSET, "<I", 0xFFFFFFFF, "begin at byte"),
        (POINTS_OFFSET, "<I", 100, "begin at byte"),
        (HEADER_BYTES, "<H", 40, "header of 40 bytes"),
        (VERSION_MINOR, "<B", 9, r"version 1\.9"),
        (POINT_FORMAT, "<B", 0x80 | 40, "format 40"),
        (RECORD_BYTES, "<H", 7, "records of 7 bytes"),
        (COUNT, "<Q", 2**62, "claims|should hold"),
        (COUNT, "<Q", 10**9, "claims|should hold"),
        (N_EXTENDED, "<I", 0xFFFFFFFF, "after its points"),
        (EXTENDED_OFFSET, "<QI", (2**63, 3), "after its points"),
        (SCALES, "<3d", (0.0, 0.01, 0.01), "cannot be worked out"),
        (SCALES, "<3d", (float("nan"), 0.01, 0.01), "cannot be worked out"),
        (MAX_X, "<2d", (float("nan"), 0.0), "extent is impossible"),
        (MAX_X, "<2d", (0.0, 1.0), "extent is impossible"),
    ],
)
def test_a_header_that_claims_what_cannot_be(
    tmp_path: Path, ending: str, position: int, layout: str, value: float | tuple[float, ...], words: str
) -> None:
    """Refused from the header and the size of the file alone, without trying."""
    tile = made_tile(tmp_path / f"a.{ending}")
    patched(tile, position, layout, *(value if isinstance(value, tuple) else (value,)))
    refused(tile, words)


def test_old_headers_that_claim_too_many_points(tmp_path: Path) -> None:
    """The 32-bit count of LAS 1.2 is held against the size as well."""
    tile = made_tile(tmp_path / "a.las", point_format=1)
    refused(patched(tile, LEGACY_COUNT, "<I", 0xFFFFFFFF), "should hold 4,294,967,295 points, but ends after 2,000")


def test_absurd_claims_cost_neither_time_nor_memory(tmp_path: Path) -> None:
    """In a process with 1.5 GB and 20 seconds, a claim of a thousand million points or records is just refused."""
    for name, position, layout, value in (
        ("points.laz", COUNT, "<Q", 10**9),
        ("records.las", N_RECORDS, "<I", 0xFFFFFFFF),
        ("extended.las", N_EXTENDED, "<I", 0xFFFFFFFF),
    ):
        tile = patched(made_tile(tmp_path / name), position, layout, value)
        assert in_a_cell(tile).startswith("refused")


def test_chunks_that_claim_too_much_memory(tmp_path: Path) -> None:
    """Sizes of layers within the compressed points are added up before the decoder sets memory aside for them."""
    tile = made_tile(tmp_path / "a.laz")
    header = las.read_header(tile)
    # After the table's place (8 bytes), the first point and the number of points (LAZ specification 1.4).
    patched(tile, header.points_offset + 8 + header.record_bytes + 4, "<9I", *[0xF0000000] * 9)
    assert "claims more than its" in in_a_cell(tile)


def test_layers_that_end_beyond_their_chunk(tmp_path: Path) -> None:
    """What stands before the layers takes room too, or the classes of one chunk would be looked for in the next."""
    tile = made_tile(tmp_path / "a.laz")
    header = las.read_header(tile)
    last_size = header.points_offset + 8 + header.record_bytes + 4 + 4 * 8
    (size,) = struct.unpack_from("<I", tile.read_bytes(), last_size)
    patched(tile, last_size, "<I", size + 1)
    with pytest.raises(SurveyError, match="claims more than its"):
        las.write_classified(tmp_path / "b.laz", tile, np.full(2000, 2, np.uint8))


def test_damage_within_compressed_points(tmp_path: Path) -> None:
    """Bytes turned over in the middle end in words or in points, never in a crash of the decoder."""
    tile = made_tile(tmp_path / "a.laz", n=20_000)
    sound = tile.read_bytes()
    start = las.read_header(tile).points_offset
    for at in range(start + 8, len(sound), (len(sound) - start) // 40):
        tile.write_bytes(sound[:at] + bytes([sound[at] ^ 0xFF]) + sound[at + 1 :])
        try:
            cloud = las.read_cloud(tile, HERE)
        except SurveyError as error:
            assert "a.laz" in str(error)  # noqa: PT017
        else:
            assert len(cloud) == 20_000


@pytest.fixture(scope="module")
def sound_tiles(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of small sound tiles to damage."""
    folder = tmp_path_factory.mktemp("sound")
    for name in DAMAGED:
        made_tile(folder / name, point_format=int(name[0]), n=50)
    return folder


DAMAGED = ["1.las", "1.laz", "7.las", "7.laz"]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    name=st.sampled_from(DAMAGED),
    changes=st.lists(st.tuples(st.integers(0, 2600), st.integers(0, 255)), min_size=1, max_size=12),
)
def test_any_damage_ends_in_words_or_points(
    sound_tiles: Path, tmp_path: Path, name: str, changes: list[tuple[int, int]]
) -> None:
    """Whatever bytes are changed, reading and writing again raise nothing but SurveyError."""
    raw = bytearray((sound_tiles / name).read_bytes())
    for position, value in changes:
        raw[position % len(raw)] = value
    tile = tmp_path / name
    tile.write_bytes(raw)
    try:
        header = las.read_header(tile)
        las.points_bounds(header)
        cloud = las.read_cloud(tile, HERE)
        las.write_classified(tmp_path / "again.laz", tile, np.ones(len(cloud), np.uint8))
    except SurveyError:
        return
    assert len(cloud) == header.n_points
    assert las.read_header(tmp_path / "again.laz").n_points == header.n_points


# ---------------------------------------------------------------- tiles that make no survey


def test_tiles_that_make_no_survey(tmp_path: Path) -> None:
    """Empty, without CRS, in two CRSs, in degrees, of one name, twice the same."""
    sound = made_tile(tmp_path / "sound.laz")
    for other, words in (
        (made_tile(tmp_path / "empty.laz", n=0), r"empty\.laz: holds no points"),
        (made_tile(tmp_path / "bare.laz", crs=None), r"bare\.laz: it has no coordinate system"),
        (made_tile(tmp_path / "other.laz", crs="EPSG:25833"), r"zone 33N: .*other\.laz; .*zone 32N: .*sound\.laz"),
        (made_tile(tmp_path / "b" / "sound.laz", seed=2), "both be called 'sound'"),
        (made_tile(tmp_path / "copy.laz"), "same tile twice"),
    ):
        with pytest.raises(SurveyError, match=words):
            take_in([sound, other])


def test_a_tile_in_degrees(tmp_path: Path) -> None:
    """A CRS in degrees is reprojected."""
    header = made_header(crs="EPSG:4326", scale=1e-7)
    points = made_points(header, west=9.94, south=51.55, side=5e-4)
    points.write(tmp_path / "a.laz")
    taken = take_in([tmp_path / "a.laz"])
    assert taken.table.crs == "EPSG:32632"
    # 0.0005 degrees are 55.6 m of latitude, and of longitude that times the cosine of 51.55 degrees.
    assert taken.table.tiles[0].area_m2 == pytest.approx(55.65 * 55.65 * np.cos(np.radians(51.55)), rel=0.03)


def test_a_tile_whose_crs_cannot_be_read(tmp_path: Path) -> None:
    """Nonsense for a CRS is as good as none, and the message says so."""
    header = made_header(crs=None)
    header.vlrs.append(laspy.VLR("LASF_Projection", 2112, "", b"PROJCS[nonsense\0"))
    made_points(header).write(tmp_path / "a.laz")
    with pytest.raises(SurveyError, match=r"a\.laz: .*PROJ cannot read.*'crs: EPSG:25832'"):
        take_in([tmp_path / "a.laz"])
    assert take_in([tmp_path / "a.laz"], given_crs=UTM).table.crs == UTM


# ---------------------------------------------------------------- the measuring data


READ_PROPERLY = {"example_corrupted.laz": 431_853, "no_crs.laz": 17_845, "one_point_1km_up.laz": 8027}
"""Files that are odd but hold a survey, with the points they should hold, once their CRS is given."""


@pytest.mark.data
def test_every_bad_file_ends_in_words_or_is_read() -> None:
    """Whether or not the area file gives a CRS."""
    files = sorted(measuring_data("bad_input").glob("*.la[sz]"))
    assert len(files) >= 12
    for path in files:
        with pytest.raises(SurveyError, match=re.escape(path.name)):
            take_in([path])
        if path.name not in READ_PROPERLY:
            with pytest.raises(SurveyError, match=re.escape(path.name)):
                take_in([path], given_crs="EPSG:32617", crs_overrides=True)
        else:
            taken = take_in([path], given_crs="EPSG:32617", crs_overrides=True)
            cloud = las.read_cloud(path, taken.table.tiles[0].placement, usable_bounds=taken.table.bounds)
            assert len(cloud) == READ_PROPERLY[path.name]
            assert cloud.is_usable.mean() > 0.5


@pytest.mark.data
def test_bad_files_in_degrees_are_refused_even_where_degrees_are_allowed() -> None:
    """They are far too thin, empty, or have their axes swapped."""
    for name, words in (
        ("epsg_4326.las", "Nothing can be drawn"),
        ("spurious.las", "Nothing can be drawn"),
        ("no-points.las", "holds no points"),
        ("test_epsg_4326_axis.las", "probably swapped"),
    ):
        with pytest.raises(SurveyError, match=f"{name}.*{words}"):
            take_in([measuring_data("bad_input") / name])


@pytest.mark.data
def test_bad_files_are_read_in_little_memory_and_time() -> None:
    """Each in a process of its own, with 1.5 GB and 20 seconds."""
    for path in sorted(measuring_data("bad_input").glob("*.la[sz]")):
        said = in_a_cell(path)
        assert "points" in said or path.name in said
