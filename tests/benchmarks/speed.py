"""How long points and bare earth take beside PDAL: `python -m tests.benchmarks.speed FOLDER ...`.

Each FOLDER holds tiles. Both go the whole way in one run on the same machine: LAZ in, classified LAZ and a
bare-earth TIFF out. Ours is the workflow with two cores; PDAL (TUSSOCK_PDAL or PATH) has its readers, SMRF and writers
in one pipeline.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import psutil

from tests.paths import PROJECT
from tests.runs import write_area


def pdal_pipeline(tiles: list[Path], out: Path) -> str:
    """PDAL's way: read, merge, SMRF, write LAZ, grid the ground."""
    stages: list[object] = [{"type": "readers.las", "filename": str(tile)} for tile in tiles]
    stages += [
        {"type": "filters.merge"},
        {"type": "filters.smrf"},
        {"type": "writers.las", "filename": str(out / "all.laz"), "compression": "laszip"},
        {"type": "filters.range", "limits": "Classification[2:2]"},
        {"type": "writers.gdal", "filename": str(out / "ground.tif"), "resolution": 0.5, "output_type": "idw"},
    ]
    return json.dumps(stages)


@dataclass(frozen=True)
class Cost:
    """What a command took: wall seconds, seconds of all its processors, GiB of its largest process."""

    wall_s: float
    cpu_s: float
    gib: float

    def __str__(self) -> str:
        return f"{self.wall_s:.1f} s, {self.cpu_s:.1f} CPU s, {self.gib:.2f} GiB"


def cost_of(command: list[str]) -> Cost:
    """The cost of a command and all it starts; CPU seconds tell more than wall seconds where others work too."""
    before, start, largest = _cpu_s(), time.perf_counter(), 0
    process = psutil.Popen(command, cwd=PROJECT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    while process.poll() is None:
        for one in [process, *process.children(recursive=True)]:
            try:
                largest = max(largest, one.memory_info().rss)
            except psutil.Error:
                continue
        time.sleep(0.05)
    if process.returncode != 0:
        raise SystemExit(process.stderr.read().decode())
    return Cost(time.perf_counter() - start, _cpu_s() - before, largest / 2**30)


def _cpu_s() -> float:
    """CPU seconds of all that this process started and that has ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def main() -> None:
    """Print a line for each folder of tiles."""
    pdal = os.environ.get("TUSSOCK_PDAL") or shutil.which("pdal")
    if not pdal:
        raise SystemExit("Set TUSSOCK_PDAL to a PDAL command.")
    for folder in map(Path, sys.argv[1:]):
        tiles = sorted(folder.resolve().glob("*.laz"))
        if not tiles:
            raise SystemExit(f"{folder} holds no .laz tile.")
        with tempfile.TemporaryDirectory() as scratch:
            task = Path(scratch) / "pipeline.json"
            task.write_text(pdal_pipeline(tiles, Path(scratch)), encoding="utf-8")
            theirs = cost_of([pdal, "pipeline", str(task)])
            area = write_area(Path(scratch) / "area", f"{folder.resolve()}/*.laz")
            wanted = ["rasters/bare_earth.tif", *(f"points/{tile.name}" for tile in tiles)]
            snakemake = [
                sys.executable,
                "-m",
                "snakemake",
                "--cores",
                "2",
                "--quiet",
                "all",
                "--config",
                f"area={area}",
            ]
            ours = cost_of([*snakemake, "--", *wanted])
        print(
            f"{folder.name}: ours {ours}; PDAL {theirs}; "
            f"ratio {ours.wall_s / theirs.wall_s:.2f} in wall, {ours.cpu_s / theirs.cpu_s:.2f} in CPU seconds"
        )


if __name__ == "__main__":
    main()
