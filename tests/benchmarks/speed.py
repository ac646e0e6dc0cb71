"""How long points and bare earth take beside PDAL: `python -m tests.benchmarks.speed FOLDER ...`.

Each FOLDER holds tiles. Both go the whole way in one run on the same machine: LAZ in, classified LAZ and a
bare-earth TIFF out. Ours is the workflow with two cores; PDAL (TUSSOCK_PDAL or PATH) has its readers, SMRF and writers
in one pipeline.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
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


def timed(command: list[str]) -> tuple[float, float]:
    """Wall seconds of a command, and the most memory one of its processes held, GiB."""
    start, largest = time.perf_counter(), 0
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
    return time.perf_counter() - start, largest / 2**30


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
            theirs_s, theirs_gib = timed([pdal, "pipeline", str(task)])
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
            ours_s, ours_gib = timed([*snakemake, "--", *wanted])
        print(
            f"{folder.name}: ours {ours_s:.1f} s, {ours_gib:.2f} GiB; PDAL {theirs_s:.1f} s, {theirs_gib:.2f} GiB; "
            f"ratio {ours_s / theirs_s:.2f}"
        )


if __name__ == "__main__":
    main()
