"""Results of pieces of a step's work, kept from run to run."""

import sqlite3
from pathlib import Path

import numpy as np
import pytest
import shapely

from pipeline.files.disk.pieces import pieces_of
from pipeline.remembered import nothing_remembered, packed, shapes_remembered, unpacked


def asked(store: Path | None, pieces: list[bytes], *, state: str = "s", what: str = "doubled") -> list[bytes]:
    """Pieces that had to be worked out, once every result was found right."""
    worked_out: list[bytes] = []

    def work_out(numbers: list[int]) -> list[bytes]:
        worked_out.extend(pieces[number] for number in numbers)
        return [pieces[number] * 2 for number in numbers]

    with pieces_of(store, state) as remembered:
        assert remembered(what, pieces, work_out) == [piece * 2 for piece in pieces]
    return worked_out


def test_only_new_pieces_are_worked_out(tmp_path: Path) -> None:
    """A later run works out what the one before it did not ask for."""
    store = tmp_path / "kept" / "pieces.sqlite"
    assert asked(store, [b"a", b"b"]) == [b"a", b"b"]
    assert asked(store, [b"b", b"c"]) == [b"c"]
    assert asked(store, [b"c", b"b"]) == []
    assert asked(store, [b"a"]) == [b"a"], "what the last run did not ask for is gone"


def test_pieces_that_are_alike_are_worked_out_once(tmp_path: Path) -> None:
    """Two pieces made from the same have one result."""
    assert asked(tmp_path / "p.sqlite", [b"a", b"a", b"a"]) == [b"a"]


@pytest.mark.parametrize("other", [{"state": "new code"}, {"what": "halved"}])
def test_other_code_and_other_work_know_nothing(tmp_path: Path, other: dict[str, str]) -> None:
    """What was kept counts for its own work, code and settings only."""
    store = tmp_path / "p.sqlite"
    asked(store, [b"a"])
    assert asked(store, [b"a"], **other) == [b"a"]


def test_a_store_cut_short_is_none(tmp_path: Path) -> None:
    """A file cut short is no store, and is written anew."""
    store = tmp_path / "p.sqlite"
    asked(store, [bytes([value]) * 900 for value in range(200)])
    store.write_bytes(store.read_bytes()[:5000])
    assert asked(store, [b"a"]) == [b"a"]
    assert asked(store, [b"a"]) == []


def test_a_step_that_fails_leaves_the_store_as_it_was(tmp_path: Path) -> None:
    """Nothing is written of a step that did not end well."""
    store = tmp_path / "p.sqlite"
    asked(store, [b"a"])
    with pytest.raises(ZeroDivisionError), pieces_of(store, "s") as remembered:
        remembered("doubled", [b"b"], lambda _: [bytes(1 // 0)])
    with sqlite3.connect(store) as base:
        assert base.execute("SELECT value FROM pieces").fetchall() == [(b"aa",)]
    assert list(tmp_path.iterdir()) == [store]


def test_without_a_store_all_is_worked_out() -> None:
    """A pure function runs without any store."""
    assert asked(None, [b"a"]) == [b"a"]
    assert nothing_remembered("doubled", [], lambda _: pytest.fail("nothing to work out")) == []


def test_shapes_come_back_bit_for_bit(tmp_path: Path) -> None:
    """Heights and every last digit of a geometry are kept."""
    shapes = [shapely.LineString([(1 / 3, 2 / 3, 0.1), (7, 1e-9, 2)]), shapely.Point(0.1, 0.2).buffer(3.0)]
    marks = [b"line", b"disc"]
    for _ in range(2):
        with pieces_of(tmp_path / "p.sqlite", "s") as remembered:
            found = shapes_remembered(
                remembered, "made", marks, lambda numbers: np.array([shapes[n] for n in numbers], dtype=object)
            )
        assert [shape.wkb for shape in found] == [shape.wkb for shape in shapes]


def test_packed_tables_come_back_with_type_and_shape() -> None:
    """Types, shapes and empty tables are kept."""
    told = {"a": np.arange(6, dtype=np.int16).reshape(2, 3), "b": np.array([0.1, np.nan]), "none": np.empty((0, 2))}
    found = unpacked(packed(told))
    assert list(found) == list(told)
    for name, values in told.items():
        assert found[name].dtype == values.dtype
        np.testing.assert_array_equal(found[name], values)


def test_objects_are_not_packed() -> None:
    """Python objects would need a format that can run code when read."""
    with pytest.raises(ValueError, match="allow_pickle"):
        packed({"a": np.array([object()], dtype=object)})
