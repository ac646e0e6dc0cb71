"""What it costs to draft again after one of 16 tiles changed: `python -m tests.benchmarks.one_tile_changed FOLDER`.

FOLDER holds the tiles of a scene that fills a square. An area of 2 km x 2 km in 16 tiles is made of mirrored copies of
it, thinned to one pulse in THINNED, and drafted whole. Then in a circle of 60 m in one tile all returns above the
ground are taken away, as where forest was felled, and the area is drafted again; at last the changed area is drafted
whole in a folder of its own, and the results are compared byte by byte.

Seconds are processor time of the command and of all it started, so other work on the machine counts little.
"""

from __future__ import annotations

import resource
import sys
import tempfile
from pathlib import Path

import laspy
import numpy as np

from tests.benchmarks.large_area import Scene, lay_side_by_side
from tests.benchmarks.results import Table
from tests.runs import tussock, write_area
from tests.same_files import differing, results_of

SIDE_M, THINNED = 2000, 24
FELLED_M, AT_MOST_M = 60.0, 0.5
"""Radius of the circle, and height above the lowest return around up to which returns stay, in metres."""


def fell(tile: Path, /) -> int:
    """Take the returns above the ground out of a circle in the middle of a tile; how many there were."""
    las = laspy.read(tile)
    at = np.column_stack((las.x, las.y))
    middle = (at.min(axis=0) + at.max(axis=0)) / 2
    inside = np.hypot(*(at - middle).T) < FELLED_M
    squares = np.floor(at / 5.0).astype(np.int64)
    _, of_square = np.unique(squares, axis=0, return_inverse=True)
    lowest = np.full(of_square.max() + 1, np.inf)
    np.minimum.at(lowest, of_square, np.asarray(las.z))
    gone = inside & (np.asarray(las.z) > lowest[of_square] + AT_MOST_M)
    las.points = las.points[~gone]
    las.write(tile)
    return int(gone.sum())


def drafted_s(area: Path, /) -> float:
    """Draft an area: seconds of processor time.

    Raises
    ------
    SystemExit
        With what the run said, if it fails.
    """
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = tussock("draft", area, "--cores", "1")
    if done.returncode:
        raise SystemExit(done.stderr)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def compared(tiles: list[Path], /, *, side_m: int = SIDE_M, thinned: int = THINNED) -> Table:
    """A row for a tile in the middle of the area and one at its corner: seconds, their ratio, files that differ."""
    rows = []
    with tempfile.TemporaryDirectory(prefix="tussock-one-tile-") as name:
        folder = Path(name)
        made = sorted(lay_side_by_side(Scene.read(tiles, keep_one_in=thinned), folder / "tiles", side_m=side_m))
        area = write_area(folder / "kept", f"{folder}/tiles/*.laz")
        whole_s = drafted_s(area)
        for what, number in (("in the middle", 5), ("at a corner", 0)):
            n_gone = fell(made[number])
            again_s = drafted_s(area)
            fresh = write_area(folder / f"fresh{number}", f"{folder}/tiles/*.laz")
            fresh_s = drafted_s(fresh)
            apart = differing(results_of(fresh.parent / "out"), results_of(area.parent / "out"))
            seconds = [f"{value:.0f}" for value in (whole_s, fresh_s, again_s)]
            rows.append([what, f"{n_gone:,}", *seconds, f"{again_s / fresh_s:.2f}", ", ".join(apart) or "none"])
            print(" | ".join(rows[-1]), flush=True)
    seconds = ["first draft, s", "whole again, s", "after the change, s"]
    heads = ["tile", "returns gone", *seconds, "ratio", "files that differ"]
    return Table("", heads, rows)


if __name__ == "__main__":
    compared(sorted(Path(sys.argv[1]).rglob("*.laz")))
