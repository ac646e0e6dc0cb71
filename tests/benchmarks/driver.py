"""What planning and driving Snakemake hold for many tiles: `python -m tests.benchmarks.driver 400,1600`.

The tiles are headers of 500 m squares with nothing but zeros behind them, which take no room on the disk. Each number
of tiles is planned in a process of its own as `tussock draft` does it, up to a dry run of every job.
"""

from __future__ import annotations

import io
import resource
import struct
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import laspy
import pyproj
import snakemake.api

from pipeline import workflow
from pipeline.plan.plan import plan_run
from tests.benchmarks.results import Table
from tests.paths import PROJECT
from tests.runs import write_area

TILE_M = 500
RETURNS = 64_000
"""Of a tile: 0.26 a square metre; with less it would be searched for stray returns."""
WEST, SOUTH = 400_000, 5_700_000
# Places of what a tile has of its own in the header of LAS 1.4 (R15, table 3).
_OFFSETS, _BOUNDS, _COUNT, _BY_RETURN, _POINTS_BEGIN = 155, 179, 247, 255, 96
COLUMNS = ["tiles", "jobs", "CPU s", "MiB before planning", "MiB at the peak", "kB a tile"]


def write_headers(folder: Path, /, *, n_along: int) -> None:
    """Write a square survey of so many tiles along each side."""
    folder.mkdir(parents=True)
    head = bytearray(_head())
    for col in range(n_along):
        for row in range(n_along):
            west, south = WEST + TILE_M * col, SOUTH + TILE_M * row
            # Zeros are the offset itself: each return lies in the middle of its tile.
            struct.pack_into("<3d", head, _OFFSETS, west + TILE_M / 2, south + TILE_M / 2, 200.0)
            struct.pack_into("<6d", head, _BOUNDS, west + TILE_M - 0.01, west, south + TILE_M - 0.01, south, 300, 100)
            with (folder / f"{west}_{south}.las").open("wb") as file:
                file.write(head)
                file.truncate(len(head) + RETURNS * laspy.PointFormat(6).size)


def _head() -> bytes:
    """Header and records of a tile of that many returns."""
    header = laspy.LasHeader(point_format=6, version="1.4")
    header.add_crs(pyproj.CRS.from_epsg(25832))
    written = io.BytesIO()
    with laspy.open(written, mode="w", header=header, closefd=False):
        pass
    head = bytearray(written.getvalue())
    struct.pack_into("<Q", head, _COUNT, RETURNS)
    struct.pack_into("<Q", head, _BY_RETURN, RETURNS)
    return bytes(head[: struct.unpack_from("<I", head, _POINTS_BEGIN)[0]])


def plan_dry(area: Path, /) -> str:
    """Plan an area and go through all its jobs without doing any: jobs, CPU seconds, MiB before and at the peak."""
    before_mib = _peak_mib()
    execute = snakemake.api.DAGApi.execute_workflow
    snakemake.api.DAGApi.execute_workflow = lambda dag, **given: execute(dag, executor="dryrun", **given)
    began_s = time.process_time()
    plan = plan_run(area)
    failure = workflow.run_workflow(plan, cores=2, memory_mb=10**9)
    if failure:
        raise SystemExit(failure.message)
    n_jobs = 2 * len(plan.tile_names) + len(plan.block_names) + 4 * len(plan.field_names)
    return f"{n_jobs} {time.process_time() - began_s:.1f} {before_mib:.0f} {_peak_mib():.0f}"


def _peak_mib() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def driver(n_tiles: list[int], /) -> Table:
    """A row for each number of tiles, the nearest square."""
    rows = []
    for n_along in (round(n**0.5) for n in n_tiles):
        with tempfile.TemporaryDirectory(prefix="tussock-driver-") as name:
            write_headers(Path(name) / "tiles", n_along=n_along)
            area = write_area(Path(name), f"{name}/tiles/*.las")
            command = [sys.executable, "-m", "tests.benchmarks.driver", "--dry", str(area)]
            done = subprocess.run(command, cwd=PROJECT, capture_output=True, text=True, check=False)
            if done.returncode:
                raise SystemExit(done.stderr[-500:])
            n_jobs, cpu_s, before_mib, peak_mib = done.stdout.split()
        held_kb = (int(peak_mib) - int(before_mib)) * 1024 / n_along**2
        rows.append([f"{n_along**2:,}", f"{int(n_jobs):,}", cpu_s, before_mib, peak_mib, f"{held_kb:.0f}"])
        print(" | ".join(rows[-1]), flush=True)
    return Table("", COLUMNS, rows)


if __name__ == "__main__":
    if sys.argv[1] == "--dry":
        print(plan_dry(Path(sys.argv[2])))
    else:
        driver([int(number) for number in sys.argv[1].split(",")])
