"""Channels of ground that was drained before: what an earlier run left changes no result, and spares work."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
from scipy import ndimage

from pipeline.files.disk.pieces import pieces_of
from pipeline.lattice.grid import Grid, Heights
from pipeline.remembered import Remembered, nothing_remembered
from pipeline.water.running.channels import Running, find_channels
from pipeline.water.running.flow import Runoff, lead_water
from pipeline.water.sight.ground import in_memory
from pipeline.water.sight.marks import MARKED_CELLS, marks_around

GRID = Grid("EPSG:25832", 2000, 8000, 1.0, 300, 300)
RUNOFF = Runoff(2000.0, 300.0, 0.2, porous=False)


def hills(seed: int) -> Heights:
    """Hilly ground that falls to the south, with five winding beds."""
    random = np.random.default_rng(seed)
    row, col = np.mgrid[: GRID.rows, : GRID.cols]
    away = np.min([np.abs(col - 30 - 60 * k - 12 * np.sin(row / 25 + random.uniform(0, 6))) for k in range(5)], axis=0)
    rough = 2 * ndimage.gaussian_filter(random.normal(size=GRID.shape), 3.0)
    return (100 - 0.05 * row + 0.08 * away - np.clip(1.2 - 0.6 * away, 0, 1.2) + rough).astype(np.float32)


def changed(heights: Heights, aimed: Heights, seed: int) -> tuple[Heights, Heights]:
    """The same ground, but for a mound, and fewer pulses somewhere else."""
    random = np.random.default_rng(seed)
    row, col, other_row, other_col = random.integers(30, 270, 4)
    dug, thinned = heights.copy(), aimed.copy()
    dug[row - 15 : row + 15, col - 15 : col + 15] += 1.5
    thinned[other_row - 9 : other_row + 9, other_col - 9 : other_col + 9] = 0
    return dug, thinned


def found(heights: Heights, aimed: Heights, remembered: Remembered = nothing_remembered) -> Running:
    """Watercourses of a surface."""
    ground = in_memory(heights)
    flow = lead_water(ground, GRID, RUNOFF)
    return find_channels(flow, ground, in_memory(aimed), GRID, RUNOFF, remembered=remembered)


@pytest.mark.parametrize("seed", range(2))
def test_a_store_of_other_ground_changes_no_channel(tmp_path: Path, seed: int) -> None:
    """To the last bit, whether the store is empty, of ground that changed in places, or of the same ground."""
    heights, aimed = hills(seed), np.ones(GRID.shape, np.float32)
    alone = found(heights, aimed)
    assert len(alone.channels) >= 5
    for before in ((heights, aimed), changed(heights, aimed, seed)):
        store = tmp_path / f"{len(list(tmp_path.iterdir()))}.sqlite"
        with pieces_of(store, "") as remembered:
            assert found(*before, remembered) == found(*before)
        with pieces_of(store, "") as remembered:
            assert found(heights, aimed, remembered) == alone


def test_only_what_lies_around_a_change_is_looked_at_again(tmp_path: Path) -> None:
    """Of cross-sections and links most are found again; those beside a change are not."""
    heights, aimed = hills(3), np.ones(GRID.shape, np.float32)
    kinds, asked, worked_out = set[str](), 0, 0
    with pieces_of(tmp_path / "store.sqlite", "") as remembered:
        found(heights, aimed, remembered)
    with pieces_of(tmp_path / "store.sqlite", "") as remembered:

        def counted(
            what: str, made_from: Sequence[bytes], work_out: Callable[[list[int]], Sequence[bytes]], /
        ) -> list[bytes]:
            nonlocal asked, worked_out

            def work(numbers: list[int]) -> Sequence[bytes]:
                nonlocal worked_out
                worked_out += len(numbers)
                return work_out(numbers)

            kinds.add(what)
            asked += len(made_from)
            return remembered(what, made_from, work)

        found(*changed(heights, aimed, 3), counted)
    assert len(kinds) == 2
    assert 0 < worked_out < asked / 2


def test_marks_tell_where_a_rectangle_lies_and_what_is_around_it() -> None:
    """They change with a cell within the margin, with the place on flat ground and with the rim, not with far cells."""
    flat = np.zeros(GRID.shape, np.float32)
    west, south, _, _ = GRID.bounds
    place = (west + 140, south + 140, west + 160, south + 160)

    def marks(values: Heights, grid: Grid = GRID, bounds: tuple[float, float, float, float] = place) -> bytes:
        return marks_around([in_memory(values)], grid, margin_m=10.0)(bounds)

    for off, is_seen in ((0, True), (9, True), (10 + 2 * MARKED_CELLS, False)):
        other = flat.copy()
        other[150, 160 + off] = 1
        assert (marks(other) != marks(flat)) == is_seen
    moved = (place[0] + MARKED_CELLS, place[1], place[2] + MARKED_CELLS, place[3])
    assert marks(flat, bounds=moved) != marks(flat)
    smaller = GRID.part((slice(0, 155), slice(0, 300)))
    assert marks(flat[:155], smaller) != marks(flat)
