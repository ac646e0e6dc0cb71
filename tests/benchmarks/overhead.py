"""What a run of many small tiles spends on anything but its steps: `python -m tests.benchmarks.overhead FOLDER [N]`.

FOLDER holds the tiles of a square scene, which is cut into N by N tiles and drafted on two cores. Counted are seconds
of the processors, as wall seconds tell little where others work too: those of the steps themselves, those of the
process that plans and drives Snakemake, and those of what starts a step and of the process that has read the libraries.
"""

from __future__ import annotations

import contextlib
import os
import resource
import sys
import tempfile
import time
from pathlib import Path

import laspy
import numpy as np
import psutil

from tests.benchmarks.large_area import Scene
from tests.benchmarks.results import Table
from tests.paths import PROJECT
from tests.runs import write_area

N_ALONG = 20
"""Tiles along a side: 400 together."""
EVERY_S = 0.1
"""Seconds between two looks at what the processes have used; what they use after the last look is missed."""
COLUMNS = ["tiles", "returns", "wall s", "CPU s", "of steps", "of planning and Snakemake", "of starting steps", "share"]


def cut(scene: Scene, folder: Path, /, *, n_along: int) -> int:
    """Write the returns of a scene as so many tiles along each side; the number of tiles that hold any."""
    folder.mkdir(parents=True)
    place = np.minimum((scene.inside_m / (scene.side_m / n_along)).astype(int), n_along - 1)
    number = place[:, 0] * n_along + place[:, 1]
    found = np.unique(number)
    for tile in found:
        part = laspy.LasData(scene.points.header)
        part.points = scene.points.points[number == tile]
        part.write(folder / f"tile_{tile:04d}.laz")
    return len(found)


def watch(command: list[str], /) -> tuple[float, float, float, float]:
    """Run a command: wall seconds, and CPU seconds of all, of the driver itself, and of the steps.

    Raises
    ------
    SystemExit
        If it fails.
    """
    begun_s, before_s = time.perf_counter(), _ended_s()
    with tempfile.TemporaryFile() as said:
        process = psutil.Popen(command, cwd=PROJECT, stdout=said, stderr=said)
        driver_s = steps_s = 0.0
        while process.poll() is None:
            with contextlib.suppress(psutil.Error):
                own = process.cpu_times()
                driver_s = max(driver_s, own.user + own.system)
                for child in process.children():
                    # The process that has read the libraries does the steps in copies of itself.
                    if "pipeline.ready" in child.cmdline():
                        used = child.cpu_times()
                        steps_s = max(steps_s, used.children_user + used.children_system)
            time.sleep(EVERY_S)
        if process.returncode:
            said.seek(0)
            raise SystemExit(said.read().decode(errors="replace"))
    return time.perf_counter() - begun_s, _ended_s() - before_s, driver_s, steps_s


def _ended_s() -> float:
    """CPU seconds of all that this process has started and that has ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def overhead(tiles: list[Path], /, *, n_along: int = N_ALONG) -> Table:
    """One row: the tiles, what the run took, and the share of it that went to anything but steps."""
    scene = Scene.read(tiles)
    with tempfile.TemporaryDirectory(prefix="tussock-overhead-") as name:
        n_tiles = cut(scene, Path(name) / "tiles", n_along=n_along)
        area = write_area(Path(name) / "draft", f"{name}/tiles/*.laz")
        command = [sys.executable, "-m", "pipeline.cli", "draft", str(area), "--cores", "2"]
        wall_s, all_s, driver_s, steps_s = watch(command)
    figures = [f"{seconds:.1f}" for seconds in (wall_s, all_s, steps_s, driver_s, all_s - steps_s - driver_s)]
    row = [str(n_tiles), f"{len(scene.inside_m):,}", *figures, f"{1 - steps_s / all_s:.0%}"]
    return Table("", COLUMNS, [row])


if __name__ == "__main__":
    os.nice(5)
    table = overhead(sorted(Path(sys.argv[1]).rglob("*.laz")), n_along=int((sys.argv[2:] or [N_ALONG])[0]))
    print("\n".join(table.as_markdown()))
