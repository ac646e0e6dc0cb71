"""Surveys that are odd but can be used: `tussock survey` says what is odd, in words, and goes on."""

from __future__ import annotations

from pathlib import Path

import laspy
import numpy as np
import pytest

from pipeline.cli import main
from tests.made_tiles import made_header, made_points, made_tile
from tests.paths import measuring_data
from tests.runs import write_area


def told(area: Path, capsys: pytest.CaptureFixture[str]) -> str:
    """What `tussock survey` prints; it ends well."""
    status = main(["survey", str(area)])
    captured = capsys.readouterr()
    assert status == 0, captured.err
    return captured.out


def numbered_tile(path: Path, number: int) -> Path:
    """A tile whose returns all carry one number, as some software writes them."""
    points = made_points(made_header(1), n=4000)
    points.return_number = points.number_of_returns = np.full(4000, number, np.uint8)
    points.write(path)
    return path


@pytest.mark.parametrize("number", [2, 4, 5])
def test_returns_that_all_carry_one_number_are_taken_as_unnumbered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], number: int
) -> None:
    """Nothing is the fourth of four throughout: each return is a pulse of its own, and the survey says so."""
    numbered_tile(tmp_path / "four.las", number)
    text = told(write_area(tmp_path, "four.las"), capsys)
    assert "1.6 pulses/m2" in text
    assert "1.00 returns a pulse" in text
    assert f"four.las: every return is numbered {number}, which cannot be" in text
    assert "or the returns are not numbered" not in text, "told once"


def test_a_header_that_does_not_count_them_changes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """LAS 1.2 counts the first five returns only; what the points say decides."""
    numbered_tile(tmp_path / "seven.las", 7)
    text = told(write_area(tmp_path, "seven.las"), capsys)
    assert "1.6 pulses/m2" in text
    assert "one return a pulse, or the returns are not numbered" in text


def test_one_odd_tile_does_not_spoil_the_others(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Only the tile with senseless numbers is named."""
    numbered_tile(tmp_path / "four.las", 4)
    made_tile(tmp_path / "sound.laz", west=412_550.0, n=4000)
    text = told(write_area(tmp_path, "*.la?"), capsys)
    assert "1.6 pulses/m2" in text
    assert "four.las" in text
    assert "sound.laz" not in text


def test_a_tile_of_last_returns_alone_is_counted_by_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Where no first return is left but the numbers differ, each return still stands for a pulse."""
    points = made_points(made_header(1), n=4000)
    points.return_number = points.number_of_returns = (np.arange(4000) % 3 + 2).astype(np.uint8)
    points.write(tmp_path / "last.las")
    assert "1.6 pulses/m2" in told(write_area(tmp_path, "last.las"), capsys)


def test_a_tile_without_the_producers_ground_is_no_cause_for_worry(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Tussock finds the ground itself; nobody should go and buy other tiles for it."""
    points = made_points(made_header(), n=4000)
    points.classification = np.ones(4000, np.uint8)
    points.write(tmp_path / "a.laz")
    assert "None is marked in the tiles, and none need be: Tussock finds the ground itself" in told(
        write_area(tmp_path, "a.laz"), capsys
    )


def test_one_is_not_counted_in_the_plural(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One tile, one point."""
    one = laspy.LasData(made_header())
    one.x, one.y, one.z = np.array([412_500.0]), np.array([6_051_300.0]), np.array([100.0])
    one.write(tmp_path / "one.laz")
    assert main(["survey", str(write_area(tmp_path, "one.laz"))]) == 2
    message = capsys.readouterr().err
    assert "1 point on" in message
    assert "at least 400 m2" in message


@pytest.mark.data
@pytest.mark.parametrize("folder", ["bad_input", "real_faults"])
def test_every_odd_file_is_surveyed_or_refused_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], folder: str
) -> None:
    """With and without a CRS of the area file: a survey, or one message that names the file."""
    files = sorted(measuring_data(folder).glob("*.la[sz]"))
    assert files
    for path in files:
        for given in ({}, {"crs": "EPSG:32617", "crs_overrides": "true"}):
            status = main(["survey", str(write_area(tmp_path, str(path), **given))])
            captured = capsys.readouterr()
            assert status in (0, 2)
            assert ("How well each kind of feature can be found" in captured.out) == (status == 0)
            assert status == 0 or path.name in captured.err
