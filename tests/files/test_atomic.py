"""Writing that cannot leave half a file."""

from pathlib import Path

import pytest

from pipeline.errors import InputError
from pipeline.files.disk.atomic import check_writable, replacing, replacing_folder, write_text


def test_a_write_that_fails_leaves_the_old_file(tmp_path: Path) -> None:
    """What was made before survives, and no part is left behind."""
    target = tmp_path / "draft.txt"
    write_text(target, "old")

    def write_half() -> None:
        with replacing(target) as part:
            part.write_text("half")
            raise RuntimeError("killed")

    with pytest.raises(RuntimeError, match="killed"):
        write_half()
    assert target.read_text() == "old"
    assert list(tmp_path.iterdir()) == [target]


def test_a_folder_is_replaced_whole(tmp_path: Path) -> None:
    """A new folder holds nothing of the old one."""
    target = tmp_path / "split"
    for name in ("a", "b"):
        with replacing_folder(target) as part:
            (part / name).write_text(name)
    assert [path.name for path in target.iterdir()] == ["b"]


def test_a_folder_that_cannot_be_made_is_refused_in_words(tmp_path: Path) -> None:
    """A file where the folder should be is one way a folder cannot be written to."""
    (tmp_path / "out").write_text("a file")
    with pytest.raises(InputError, match="cannot be written to"):
        check_writable(tmp_path / "out" / "deeper")
