"""What tells that a block has nothing new to work on: the returns that tiles laid out for it."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from pipeline.files import arrays
from pipeline.lattice.blocks import block_named
from pipeline.returns.cloud import Cloud
from pipeline.steps.block.reading import lines_of, mark_of_returns

BLOCK = block_named("e0_n0", 100.0)


def cloud(n: int = 40) -> Cloud:
    """Returns in a row along the block and 20 m of its halo to the east, 3 m apart."""
    empty = Cloud.empty()
    columns = {name: np.zeros(n, values.dtype) for name, values in vars(empty).items()}
    made = Cloud(**columns)
    return replace(made, east=np.arange(n) * 3.0 + 0.5, north=np.full(n, 50.0), height=np.linspace(10, 20, n))


def laid(folder: Path, points: Cloud, *, tile: str = "a", first: int = 0, cut: int | None = None) -> list[Path]:
    """A tile's returns laid out for the block, in one piece or two; `first` is the place of the first in the tile."""
    index = np.arange(first, first + len(points), dtype=np.uint32)
    for start, stop in ((0, cut or len(points)), *(((cut, len(points)),) if cut else ())):
        part = np.arange(start, stop)
        arrays.write_returns(folder / tile / f"e0_n0.{start:06d}", points.take(part), {"index": index[part]})
    return [folder / tile]


def test_the_cut_into_pieces_does_not_count(tmp_path: Path) -> None:
    """A tile is read in pieces of millions; where one ends is no change of what lies in the block."""
    marks = {mark_of_returns(laid(tmp_path / str(cut), cloud(), cut=cut), BLOCK, "") for cut in (None, 10, 33)}
    assert len(marks) == 1


def test_any_return_in_the_halo_counts(tmp_path: Path) -> None:
    """It may change what is ground in the block."""
    points = cloud()
    higher = points.height.copy()
    higher[-1] += 0.01
    before = mark_of_returns(laid(tmp_path / "before", points), BLOCK, "")
    assert mark_of_returns(laid(tmp_path / "after", replace(points, height=higher)), BLOCK, "") != before
    assert mark_of_returns(laid(tmp_path / "told", points), BLOCK, "other settings") != before


def test_places_in_the_tile_count_in_the_core_alone(tmp_path: Path) -> None:
    """A tile beside the block from whose far end returns were taken away leaves the block as it was."""
    core, halo = cloud().take(np.arange(30)), cloud().take(np.arange(34, 40))
    first = laid(tmp_path / "one", core) + laid(tmp_path / "one", halo, tile="b")
    later = laid(tmp_path / "two", core) + laid(tmp_path / "two", halo, tile="b", first=1000)
    moved = laid(tmp_path / "three", core, first=1000) + laid(tmp_path / "three", halo, tile="b")
    assert mark_of_returns(first, BLOCK, "") == mark_of_returns(later, BLOCK, "")
    assert mark_of_returns(first, BLOCK, "") != mark_of_returns(moved, BLOCK, "")


def test_lines_of_a_block_are_those_of_its_halo_too(tmp_path: Path) -> None:
    """Shifts of other lines are nothing to it, however far a change elsewhere in the survey moves those."""
    lines = np.where(np.arange(40) < 36, 7, 9).astype(np.uint16)
    split = laid(tmp_path / "one", replace(cloud(), flight_line=lines), cut=20)
    assert lines_of(split, BLOCK) == {7, 9}
    assert lines_of(split, block_named("e5_n5", 100.0)) == set()
