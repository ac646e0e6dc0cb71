"""Checksums, and when they are trusted."""

from pathlib import Path

import pytest

from pipeline.errors import SurveyError
from pipeline.files.checksums import mark_of, recall, remember, sha256_of


def test_the_checksum_is_sha_256(tmp_path: Path) -> None:
    """The worked example of FIPS 180-4 for the message "abc"."""
    (tmp_path / "abc").write_bytes(b"abc")
    assert sha256_of(tmp_path / "abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_what_is_remembered_comes_back_until_the_file_changes(tmp_path: Path) -> None:
    """A file of another size is another file."""
    tile, memory = tmp_path / "a.laz", tmp_path / "work" / "checksums.json"
    tile.write_bytes(b"one")
    remember(memory, {mark_of(tile): "known"})
    assert recall(memory)[mark_of(tile)] == "known"
    tile.write_bytes(b"another")
    assert mark_of(tile) not in recall(memory)


def test_a_damaged_memory_is_forgotten(tmp_path: Path) -> None:
    """Half a file is no reason to stop a run."""
    (tmp_path / "checksums.json").write_text('{"a": ')
    assert recall(tmp_path / "checksums.json") == {}


def test_a_file_that_is_gone_is_named(tmp_path: Path) -> None:
    """The message says which."""
    with pytest.raises(SurveyError, match=r"gone\.laz"):
        sha256_of(tmp_path / "gone.laz")
