"""Whether a run fits the machine, said before it starts and with what to change."""

from __future__ import annotations

from pipeline.errors import InputError
from pipeline.files.disk.room import free_disk_bytes, free_memory_mb
from pipeline.files.written_points import RECORDS
from pipeline.plan.plan import Plan

USABLE_SHARE = 0.8
"""Share of the free memory that jobs may use together; the rest is for Snakemake, the system and its cache of files.
Our choice."""


def usable_memory_mb() -> int:
    """Memory that jobs may use together unless the mapper says otherwise, MB."""
    return int(USABLE_SHARE * free_memory_mb())


def check_room(plan: Plan, /, *, memory_mb: int) -> None:
    """Refuse a run that cannot fit.

    Raises
    ------
    InputError
        Saying what is needed, what there is, and what to change.
    """
    most_mb, what = plan.most_mem_mb
    if most_mb > memory_mb:
        raise InputError(
            f"{what} needs {most_mb / 1000:.1f} GB of memory and {memory_mb / 1000:.1f} GB may be used. Close other "
            f"programs, allow more with --memory, or {_smaller(plan, what)}"
        )
    # What a killed run has finished need not be made again; that of an area that is done is only looked through.
    to_do = [name for name in plan.tile_names if not (plan.out / RECORDS / f"{name}.json").exists()]
    needed = plan.peak_disk_bytes * len(to_do) / len(plan.tile_names)
    free = free_disk_bytes(plan.out)
    if needed > free:
        raise InputError(
            f"{plan.out}: the run needs up to {needed / 1e9:.1f} GB of disk on the way and {free / 1e9:.1f} GB are "
            "free. Make room, choose an 'out:' on another disk, or draw the area in parts with fewer 'tiles:' each"
        )


def _smaller(plan: Plan, what: str) -> str:
    """What to change in the area file for less memory."""
    if what.startswith("a block"):
        return f"ask for smaller blocks: 'expert: flow: block_m: {max(100, plan.flow.block_m / 2):.0f}'"
    if what.startswith("tile"):
        return "cut the tile into smaller ones"
    return "draw the area in parts with fewer 'tiles:' each"
