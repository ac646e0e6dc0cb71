"""A batch of areas, some of them broken, twice: `python -m tests.benchmarks.batch [N_AREAS]`.

Each area is a square of 60 m of the sample, a few decimetres beside the next one's; its earlier map is one draft of
the same place. The broken ones have an earlier map without symbols, a tile that is no lidar, and no area file.
Everything runs as a
user runs it, by `tussock refresh --batch`.
"""

from __future__ import annotations

import csv
import json
import sys
import tempfile
import time
from pathlib import Path

import laspy
import numpy as np

from tests.benchmarks.results import Table
from tests.runs import SAMPLE, tussock, write_area

SIDE_M, N_AREAS = 60.0, 20
BROKEN = {3: "no symbols", 4: "no lidar", 5: "no area file"}
"""Number of an area that is broken, and how."""


def cut(source: laspy.LasData, corner: tuple[float, float], target: Path, /) -> None:
    """A square of a tile as a tile."""
    target.parent.mkdir(parents=True, exist_ok=True)
    east, north = np.asarray(source.x) - corner[0], np.asarray(source.y) - corner[1]
    piece = laspy.LasData(source.header)
    piece.points = source.points[(east >= 0) & (east < SIDE_M) & (north >= 0) & (north < SIDE_M)].copy()
    piece.write(target)


def made(folder: Path, n_areas: int, /) -> Path:
    """The list of a batch with all that it names; the earlier run is drafted here.

    Raises
    ------
    SystemExit
        With what the draft said, if it fails.
    """
    source = laspy.read(sorted(SAMPLE.glob("*.laz"))[0])
    west, south = float(source.x.min()), float(source.y.min())
    cut(source, (west, south), folder / "old" / "tile.laz")
    done = tussock("draft", write_area(folder / "old", f"{folder}/old/*.laz"), "--cores", "2")
    if done.returncode:
        raise SystemExit(done.stderr)
    rows = [("old", "area")]
    for number in range(n_areas):
        own, how = folder / f"area{number:02d}", BROKEN.get(number, "")
        cut(source, (west + number / 4, south), own / "tile.laz")
        if how == "no lidar":
            (own / "tile.laz").write_bytes(b"LASF but no more")
        if how == "no symbols":
            (own / "map.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": []}))
        area = own / "area.yaml" if how == "no area file" else write_area(own, f"{own}/*.laz")
        rows.append((str(own / "map.geojson" if how == "no symbols" else folder / "old" / "out"), str(area)))
    with (folder / "list.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    return folder / "list.csv"


def compared(n_areas: int = N_AREAS) -> Table:
    """A row for each of two runs of the same command: areas done, areas failed, how many were worked on, and time."""
    rows = []
    with tempfile.TemporaryDirectory(prefix="tussock-batch-") as name:
        listed = made(Path(name), n_areas)
        for which in ("first", "again"):
            started_s = time.monotonic()
            done = tussock("refresh", "--batch", listed, "--cores", "2")
            seconds = time.monotonic() - started_s
            with (listed.parent / "list_refreshed" / "batch.csv").open(encoding="utf-8", newline="") as file:
                table = list(csv.DictReader(file))
            failed = [f"{row['area']}: {row['message']}" for row in table if row["status"] == "failed"]
            begun = done.stderr.count("refreshing ")
            rows.append([which, str(len(table) - len(failed)), str(len(failed)), str(begun), f"{seconds:.0f}"])
            print(" | ".join(rows[-1]), *failed, done.stdout, sep="\n", flush=True)
    return Table("", ["run", "done", "failed", "worked on", "seconds"], rows)


if __name__ == "__main__":
    compared(int((sys.argv[1:] or [str(N_AREAS)])[0]))
