"""Finding the lidar files that an area file names."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.errors import SurveyError
from pipeline.intake.find_tiles import find_tiles, tile_name


def lay_out(folder: Path, *names: str) -> None:
    """Empty files."""
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).touch()


def test_patterns_folders_and_lists_find_tiles(tmp_path: Path) -> None:
    """Lidar files only, sorted, each once, whatever the capitals of their ending."""
    lay_out(tmp_path, "lidar/b.laz", "lidar/a.LAZ", "lidar/readme.txt", "more/c.las")
    for patterns in (["lidar"], ["lidar/*"], ["lidar/*.[lL][aA][zZ]"], ["lidar", "lidar/b.laz"]):
        assert [path.name for path in find_tiles(patterns, tmp_path)] == ["a.LAZ", "b.laz"]
    assert [path.name for path in find_tiles(["**/*.la?"], tmp_path)] == ["b.laz", "c.las"]
    assert find_tiles([str(tmp_path / "more" / "*.las")], Path("elsewhere")) == [tmp_path / "more" / "c.las"]
    assert len(find_tiles(["lidar", "more"], tmp_path)) == 3
    assert [path.name for path in find_tiles(["../lidar/*.laz"], tmp_path / "more")] == ["b.laz"]


@pytest.mark.parametrize(
    ("pattern", "words"),
    [
        ("lidra/*.laz", "no folder 'lidra'.*'lidar' is meant"),
        ("lidar/*.zip", r"there is b\.laz"),
        ("lidar/bb.laz", r"'b\.laz' is meant"),
        ("papers", r"there is only notes\.txt"),
        ("nowhere/at/all/*.laz", "no folder 'nowhere'"),
    ],
)
def test_nothing_found_says_what_is_there_instead(tmp_path: Path, pattern: str, words: str) -> None:
    """The pattern, the place that was searched, and the nearest thing to it."""
    lay_out(tmp_path, "lidar/b.laz", "papers/notes.txt")
    with pytest.raises(SurveyError, match=rf"no tiles: '{pattern.replace('*', '[*]')}'.*{words}"):
        find_tiles([pattern], tmp_path)


def test_each_pattern_must_find_something(tmp_path: Path) -> None:
    """A list with one misspelt entry is not half obeyed."""
    lay_out(tmp_path, "a.laz")
    with pytest.raises(SurveyError, match=r"b\.laz"):
        find_tiles(["a.laz", "b.laz"], tmp_path)


def test_tiles_that_a_draft_wrote_are_not_taken_in(tmp_path: Path) -> None:
    """A pattern for all folders below leaves them out; a folder that holds nothing else holds no tiles."""
    lay_out(tmp_path, "a.laz", "out/points/a.laz", "outpoints/b.laz")
    written = tmp_path / "out" / "points"
    assert find_tiles(["**/*.laz"], tmp_path, written_by=written) == [tmp_path / "a.laz", tmp_path / "outpoints/b.laz"]
    with pytest.raises(SurveyError, match=r"no tiles: 'out/points'.*Name a folder"):
        find_tiles(["out/points"], tmp_path, written_by=written, advice="Name a folder.")


@pytest.mark.parametrize(
    ("file", "name"),
    [("a/633_5142.laz", "633_5142"), ("b.copc.laz", "b"), ("B.COPC.LAZ", "B"), ("c.d.las", "c.d")],
)
def test_names_are_file_names_without_ending(file: str, name: str) -> None:
    """Also for COPC, which has two endings."""
    assert tile_name(Path(file)) == name


@pytest.mark.parametrize(
    "pattern",
    [
        "a**b.laz",
        "**a",
        "[",
        "[a-",
        "~nobody-of-that-name/x.laz",
        "x" * 300 + ".laz",
        "{a,b}.laz",
        "***/*.laz",
        "\0.laz",
    ],
)
def test_odd_patterns_are_answered_in_words(tmp_path: Path, pattern: str) -> None:
    """Patterns the system cannot follow, names too long for it, home folders of nobody."""
    with pytest.raises(SurveyError, match="tiles"):
        find_tiles([pattern], tmp_path)
