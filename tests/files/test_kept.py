"""Results put back when the same is asked for again."""

import os
from pathlib import Path

import numpy as np
import pytest

from pipeline.files.disk.kept import keep, mark_of_arrays, put_back


@pytest.fixture
def made(tmp_path: Path) -> tuple[Path, Path]:
    """A file and a folder that a step made."""
    (tmp_path / "grids").mkdir()
    (tmp_path / "grids" / "a.tif").write_text("grid")
    (tmp_path / "rows.gpkg").write_text("rows")
    return tmp_path / "rows.gpkg", tmp_path / "grids"


def take_away(made: tuple[Path, Path]) -> None:
    """As Snakemake does before it runs a job."""
    made[0].unlink()
    (made[1] / "a.tif").unlink()
    made[1].rmdir()


def test_what_was_kept_comes_back_under_its_mark_only(made: tuple[Path, Path], tmp_path: Path) -> None:
    """Byte for byte, and dated now; under another mark, and once others were kept, nothing is put back."""
    kept = tmp_path / "kept"
    keep(kept, "one", made)
    os.utime(kept / "0", (1, 1))
    take_away(made)
    assert not put_back(kept, "other", made)
    assert not made[0].exists()
    assert put_back(kept, "one", made)
    assert made[0].read_text() == "rows"
    assert (made[1] / "a.tif").read_text() == "grid"
    assert made[0].stat().st_mtime > 1
    keep(kept, "two", made)
    assert not put_back(kept, "one", made)


def test_a_result_that_is_lost_is_made_again(made: tuple[Path, Path], tmp_path: Path) -> None:
    """Half of what was kept is nothing, and so is a folder that never was."""
    kept = tmp_path / "kept"
    keep(kept, "one", made)
    (kept / "0").unlink()
    assert not put_back(kept, "one", made)
    assert not put_back(tmp_path / "none", "one", made)
    assert not put_back(None, "one", made)


def test_writing_anew_leaves_what_is_kept_as_it_was(made: tuple[Path, Path], tmp_path: Path) -> None:
    """A job writes a new file under the name, so the second name still stands for the old content."""
    kept = tmp_path / "kept"
    keep(kept, "one", made)
    take_away(made)
    made[0].write_text("others")
    assert put_back(kept, "one", made)
    assert made[0].read_text() == "rows"


@pytest.mark.parametrize(
    "other",
    [
        ("b", [np.arange(4)]),
        ("a", [np.arange(4) + 1]),
        ("a", [np.arange(4).reshape(2, 2)]),
        ("a", [np.arange(4).astype(float)]),
        ("a", [np.arange(4), np.empty(0)]),
    ],
)
def test_a_mark_changes_with_text_values_shape_and_type(other: tuple[str, list[np.ndarray]]) -> None:
    """Whatever could give another result gives another mark."""
    assert mark_of_arrays("a", [np.arange(4)]) != mark_of_arrays(*other)


def test_a_mark_does_not_change_with_how_values_lie_in_memory() -> None:
    """A window of a larger array has gaps between its values."""
    assert mark_of_arrays("a", [np.arange(8)[::2]]) == mark_of_arrays("a", [np.array([0, 2, 4, 6])])
    assert mark_of_arrays("a", [np.arange(8)[:4]]) == mark_of_arrays("a", [np.arange(4)])
