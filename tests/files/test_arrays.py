"""What steps hand to each other: folders of arrays that can be read piece by piece."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from pipeline.files.arrays import (
    join_returns,
    map_arrays,
    write_arrays,
    write_returns,
)
from pipeline.returns.cloud import Cloud, northward


def scattered(count: int, seed: int) -> Cloud:
    """Returns in a square of 100 m, sorted by north, one in ten not usable."""
    random = np.random.default_rng(seed)
    enh = np.round(random.uniform(0, 100, (count, 3)), 2)
    cloud = Cloud.of(enh, is_usable=random.random(count) > 0.1, intensity=np.arange(count, dtype=np.uint16))
    return cloud.take(northward(cloud))


def test_numpy_reads_the_same(tmp_path: Path) -> None:
    """Judge outside the project: numpy.load, for numbers of any width, rows, columns, Fortran order and nothing."""
    arrays = {
        "flat": np.arange(7, dtype=np.int64),
        "rows": np.arange(12, dtype=np.float32).reshape(3, 4),
        "columns": np.asfortranarray(np.arange(12.0).reshape(3, 4)),
        "flags": np.array([True, False]),
        "one": np.array(3.5),
        "none": np.empty((0, 2)),
    }
    write_arrays(tmp_path / "a", arrays)
    read = map_arrays(tmp_path / "a")
    assert sorted(read) == sorted(arrays)
    for name, given in arrays.items():
        judge = np.load(tmp_path / "a" / f"{name}.npy")
        for one in (judge, read[name]):
            assert one.dtype == given.dtype
            assert np.array_equal(one, given)
            assert one.shape == given.shape
    assert list(map_arrays(tmp_path / "a", ("flags",))) == ["flags"]


def test_arrays_of_an_iterator_are_written_one_by_one(tmp_path: Path) -> None:
    """The second is asked for when the first is on disk."""
    sizes = []

    def arrays() -> Iterator[tuple[str, np.ndarray]]:
        for name in ("first", "second"):
            sizes.append(sum(path.stat().st_size for path in tmp_path.rglob("*.npy")))
            yield name, np.arange(200_000)

    write_arrays(tmp_path / "a", arrays())
    assert sizes[1] >= 200_000 * 8
    assert sorted(map_arrays(tmp_path / "a")) == ["first", "second"]


def test_a_cut_array_is_not_read_as_a_short_one(tmp_path: Path) -> None:
    """A file that lost its end raises an error, and so does one that is missing."""
    write_arrays(tmp_path / "a", {"flat": np.arange(1000)})
    path = tmp_path / "a" / "flat.npy"
    path.write_bytes(path.read_bytes()[:-600])
    with pytest.raises(ValueError, match="mmap"):
        map_arrays(tmp_path / "a")
    with pytest.raises(FileNotFoundError):
        map_arrays(tmp_path / "a", ("other",))


def test_a_failed_write_leaves_what_was_there(tmp_path: Path) -> None:
    """Neither a half folder nor a lost one."""

    def arrays() -> Iterator[tuple[str, np.ndarray]]:
        yield "first", np.arange(3)
        raise RuntimeError("no more")

    write_arrays(tmp_path / "a", {"flat": np.arange(5)})
    with pytest.raises(RuntimeError):
        write_arrays(tmp_path / "a", arrays())
    assert [path.name for path in tmp_path.iterdir()] == ["a"]
    assert list(map_arrays(tmp_path / "a")) == ["flat"]


def test_no_folder_holds_no_return() -> None:
    """A block that no tile reaches has all columns, empty."""
    cloud, further = join_returns([], names=("index",))
    assert len(cloud) == 0
    assert len(further["index"]) == 0


def test_returns_come_back(tmp_path: Path) -> None:
    """Every column, further ones too."""
    cloud = scattered(50, 1)
    write_returns(tmp_path / "a", cloud, {"index": np.arange(50)})
    write_returns(tmp_path / "b", cloud.take(np.arange(20)), {"index": np.arange(20)})
    read, further = join_returns([tmp_path / "a", tmp_path / "b"], names=("index",))
    whole = Cloud.join([cloud, cloud.take(np.arange(20))])
    assert all(np.array_equal(getattr(whole, name), getattr(read, name)) for name in vars(cloud))
    assert all(getattr(whole, name).dtype == getattr(read, name).dtype for name in vars(cloud))
    assert np.array_equal(further["index"], [*range(50), *range(20)])
    assert np.array_equal(further["path"], [0] * 50 + [1] * 20)


def test_columns_of_unlike_length_are_refused(tmp_path: Path) -> None:
    """A folder in which a column lost returns must not give the others a wrong place."""
    write_returns(tmp_path / "a", scattered(50, 1), {"index": np.arange(49)})
    with pytest.raises(ValueError, match="length"):
        join_returns([tmp_path / "a"], names=("index",))
