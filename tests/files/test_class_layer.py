"""Exchanging the classes of a compressed tile: the same bytes as compressing it anew, in less than half the time."""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np
import pytest
from laspy.vlrs.vlrlist import VLRList

from pipeline.files.las import tiles as las
from pipeline.files.las.class_layer import Beside
from pipeline.intake.placement import Placement
from tests.made_tiles import made_header, made_points

CHUNK = 50_000
"""Points that laspy puts into a chunk."""
HERE = Placement("EPSG:25832", "EPSG:25832", 1.0)


def odd_tile(path: Path, point_format: int, *, n: int) -> Path:
    """A tile of several returns, scanner channels and flags in random order, with extra bytes."""
    rng = np.random.default_rng(point_format)
    header = made_header(point_format)
    header.add_extra_dim(laspy.ExtraBytesParams("reflectance", np.float32))
    points = made_points(header, n=n)
    points.number_of_returns = rng.integers(1, 5, n)
    points.return_number = rng.integers(1, 5, n)
    # lazrs 0.8 decodes wave forms (formats 9 and 10) of several channels wrongly, so that nothing could be compared.
    points.scanner_channel = rng.integers(0, 4 if point_format < 9 else 1, n)
    points.classification = rng.integers(0, 20, n)
    points.overlap = points.withheld = rng.integers(0, 2, n)
    points.scan_direction_flag = rng.integers(0, 2, n)
    points.reflectance = rng.normal(size=n)
    points.evlrs = VLRList([laspy.VLR("someone", 8, "", b"after the points")])
    points.write(path)
    return path


@pytest.mark.parametrize("n", [1, CHUNK, 2 * CHUNK + 7])
@pytest.mark.parametrize("point_format", [6, 7, 8, 9, 10])
def test_it_gives_the_bytes_of_compressing_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, point_format: int, n: int
) -> None:
    """Whole chunks and a last one of a few points; classes of each return number and channel; all that differs."""
    tile = odd_tile(tmp_path / "a.laz", point_format, n=n)
    classes = np.random.default_rng(7).integers(0, 30, n).astype(np.uint8)
    las.write_classified(tmp_path / "exchanged.laz", tile, classes)
    monkeypatch.setattr(las, "is_exchangeable", lambda *_: False)
    las.write_classified(tmp_path / "anew.laz", tile, classes)
    assert (tmp_path / "exchanged.laz").read_bytes() == (tmp_path / "anew.laz").read_bytes()
    assert np.array_equal(np.asarray(laspy.read(tmp_path / "exchanged.laz").classification), classes)


@pytest.mark.parametrize("point_format", [6, 8])
def test_what_was_kept_of_the_points_gives_the_same_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, point_format: int
) -> None:
    """Kept piece by piece, in pieces that do not end where chunks do, and then nothing is decoded again."""
    n = CHUNK + 7
    tile = odd_tile(tmp_path / "a.laz", point_format, n=n)
    classes = np.random.default_rng(7).integers(0, 30, n).astype(np.uint8)
    known: list[Beside] = []
    for _ in las.read_pieces(tile, HERE, n_points=20_011, beside=known):
        pass
    assert len(known) == 3
    las.write_classified(tmp_path / "decoded.laz", tile, classes)
    monkeypatch.setattr(las, "_decoded_beside", None)
    las.write_classified(tmp_path / "kept.laz", tile, classes, beside=Beside.joined(known))
    assert (tmp_path / "kept.laz").read_bytes() == (tmp_path / "decoded.laz").read_bytes()


def test_what_was_kept_of_another_tile_is_refused(tmp_path: Path) -> None:
    """A point too few would move all classes after it."""
    tile = odd_tile(tmp_path / "a.laz", 6, n=100)
    known: list[Beside] = []
    list(las.read_pieces(odd_tile(tmp_path / "b.laz", 6, n=99), HERE, beside=known))
    with pytest.raises(ValueError, match="99 points"):
        las.write_classified(tmp_path / "c.laz", tile, np.full(100, 2, np.uint8), beside=Beside.joined(known))


def test_classes_all_alike_take_no_room(tmp_path: Path) -> None:
    """A layer without a change is left out by the compressor; written back again, it is the tile of before."""
    tile = odd_tile(tmp_path / "a.laz", 6, n=CHUNK + 7)
    own = np.asarray(laspy.read(tile).classification).astype(np.uint8)
    las.write_classified(tmp_path / "own.laz", tile, own)
    las.write_classified(tmp_path / "alike.laz", tile, np.full(len(own), 2, np.uint8))
    las.write_classified(tmp_path / "again.laz", tmp_path / "alike.laz", own)
    assert (tmp_path / "alike.laz").stat().st_size < tile.stat().st_size - 20_000
    assert (tmp_path / "again.laz").read_bytes() == (tmp_path / "own.laz").read_bytes()


def test_nothing_but_places_is_decoded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A tile of layered chunks goes this way and no other, or the time it saves would be lost unseen."""

    def refuse(*_: object) -> None:
        raise AssertionError("compressed anew")

    monkeypatch.setattr(las, "_compress_anew", refuse)
    tile = odd_tile(tmp_path / "a.laz", 6, n=100)
    las.write_classified(tmp_path / "b.laz", tile, np.full(100, 2, np.uint8))


@pytest.mark.parametrize(("point_format", "ending"), [(1, "laz"), (6, "las")])
def test_tiles_without_layers_are_compressed_anew(tmp_path: Path, point_format: int, ending: str) -> None:
    """Old formats keep all fields of a point together, and what is not compressed has no layers."""
    header = made_header(point_format)
    made_points(header, n=100).write(tmp_path / f"a.{ending}")
    las.write_classified(tmp_path / "b.laz", tmp_path / f"a.{ending}", np.full(100, 9, np.uint8))
    assert (np.asarray(laspy.read(tmp_path / "b.laz").classification) == 9).all()
