"""Machines that are small: too little memory or disk is said before the start, and a full disk in words."""

import errno
import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from pipeline import workflow
from pipeline.cli import main
from pipeline.errors import InputError
from pipeline.files import arrays, grid_files, rasters
from pipeline.files.arrays import write_json
from pipeline.files.disk import atomic, room
from pipeline.files.written_points import RECORDS
from pipeline.lattice.grid import Grid
from pipeline.plan import room as plan_room
from pipeline.plan.plan import make_plan
from pipeline.plan.room import check_room, usable_memory_mb
from tests.plan.made_plan import made_plan
from tests.runs import SAMPLE, write_area


def test_a_run_that_does_not_fit_the_memory_says_so_before_it_starts(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What is needed, what there is and what to change; nothing is made but the plan."""
    area = write_area(tmp_path, f"{SAMPLE}/*.laz")
    assert main(["draft", str(area), "--memory", "0.5"]) == 2
    told = capsys.readouterr().err
    assert "GB of memory" in told
    assert "0.5 GB may be used" in told
    assert "--memory" in told
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [".lock", "work"]


def test_a_block_that_is_too_large_is_told_with_the_way_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half the side of the block is proposed, and little more than half of the memory is enough for it."""
    monkeypatch.setattr(plan_room, "free_disk_bytes", lambda _: 10**15)
    large = made_plan(2, returns_per_m2=40, expert={"flow": {"block_m": 500}})
    with pytest.raises(InputError, match=r"a block of 500 m needs .* 'expert: flow: block_m: 250'"):
        check_room(large, memory_mb=large.most_mem_mb[0] - 1)
    check_room(large, memory_mb=large.most_mem_mb[0])
    small = made_plan(2, returns_per_m2=40, expert={"flow": {"block_m": 250}})
    assert max(map(small.block_mem_mb, small.block_names)) < 0.6 * max(map(large.block_mem_mb, large.block_names))


def test_memory_of_a_block_follows_its_returns() -> None:
    """A block in the middle of a survey sees its halo on all sides, one at the corner on two."""
    plan = made_plan(3, returns_per_m2=10, expert={"flow": {"block_m": 500}})
    inner = plan.returns_around("e801_n11401")
    assert inner == pytest.approx(10 * (500 + 2 * plan.flow.halo_m) ** 2, rel=1e-3)
    assert plan.returns_around("e800_n11400") == pytest.approx(10 * (500 + plan.flow.halo_m) ** 2, rel=1e-3)


def test_snakemake_is_told_how_much_memory_there_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What `--memory` says, else a share of what is free; every rule says what it needs."""
    told: dict[str, object] = {}

    class Api:
        def __init__(self, *_: object) -> None: ...
        def __enter__(self) -> "Api":
            return self

        def __exit__(self, *_: object) -> None: ...
        def workflow(self, **settings: object) -> object:
            told.update(settings)
            raise workflow.WorkflowError("enough")

    monkeypatch.setattr(workflow, "SnakemakeApi", Api)
    plan = make_plan(write_area(tmp_path, f"{SAMPLE}/*.laz"))
    workflow.run_workflow(plan, cores=2, memory_mb=3000, keep=True)
    assert told["resource_settings"].resources == {"mem_mb": 3000}  # type: ignore[attr-defined]
    assert told["storage_settings"].notemp is True  # type: ignore[attr-defined]
    monkeypatch.setattr(plan_room, "free_memory_mb", lambda: 10_000)
    assert usable_memory_mb() == 8_000


def test_a_disk_that_is_too_small_is_told_before_the_start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By what is still to be done: a survey that was drawn already is not refused for a cheap change."""
    plan = make_plan(write_area(tmp_path, f"{SAMPLE}/*.laz"))
    assert plan.peak_disk_bytes > 1e8
    monkeypatch.setattr(plan_room, "free_disk_bytes", lambda _: int(plan.peak_disk_bytes * 0.6))
    with pytest.raises(InputError, match=r"of disk on the way and .* are free"):
        check_room(plan, memory_mb=100_000)
    for name in plan.tile_names[:2]:
        write_json(plan.out / RECORDS / f"{name}.json", {})
    check_room(plan, memory_mb=100_000)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 8 MB in memory."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", str(folder)], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("only root may mount a small disk")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_a_full_disk_is_one_clear_message(small_disk: Path) -> None:
    """Whether Python, numpy or GDAL meets its end; nothing half-written stays, and a smaller file fits."""
    with pytest.raises(InputError, match="the disk is full"):
        atomic.write_bytes(small_disk / "a.bin", bytes(9 << 20))
    with pytest.raises(InputError, match="the disk is full"):
        arrays.write_arrays(small_disk / "folder", {"heights": np.zeros(2 << 20)})
    grid = Grid("EPSG:25832", 0, 1700, 1.0, 1700, 1700)
    heights = np.random.default_rng(1).normal(size=grid.shape).astype(np.float32)
    with pytest.raises(InputError, match="the disk is full"):
        grid_files.write_grids(small_disk / "grids", {"heights": heights}, grid)
    with pytest.raises(InputError, match="the disk is full"):
        rasters.write_heights(small_disk / "heights.tif", heights, grid, description="metres")
    assert list(small_disk.iterdir()) == []
    atomic.write_bytes(small_disk / "b.bin", bytes(1 << 20))


def test_other_mistakes_are_not_taken_for_a_full_disk(tmp_path: Path) -> None:
    """A wrong value stays what it is; an error that names the full disk, however deep, is one (negative control)."""
    with pytest.raises(ZeroDivisionError), atomic.replacing(tmp_path / "a"):
        _ = 1 / 0
    full = RuntimeError("could not write")
    full.__cause__ = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    assert room.is_disk_full(full, tmp_path)
    assert not room.is_disk_full(RuntimeError("could not write"), tmp_path)
