"""What it costs to draft again after one of 16 tiles changed.

`python -m tests.benchmarks.one_tile_changed FOLDER [CASE ...]`

FOLDER holds the tiles of a scene that fills a square. An area in 16 tiles is made of mirrored copies of it, thinned to
one pulse in so many, and drafted whole. Then in a circle of 60 m in one tile all returns above the ground are taken
away, as where forest was felled, and the area is drafted again; at last a small area is drafted whole as well, in a
folder of its own, and the results are compared byte by byte. CASE is a name in CASES; without one all of them are
measured, which takes hours. Loops are compiled by the first draft on a machine: draft the sample before.

Seconds are processor time of the command and of all it started, so other work on the machine counts little; how long it
took by the clock stands beside, for a machine without other work.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import laspy
import numpy as np

from tests.benchmarks.large_area import Scene, lay_side_by_side
from tests.benchmarks.results import Table
from tests.paths import PROJECT
from tests.runs import write_area
from tests.same_files import differing, results_of

TILES_ALONG = 4
"""Tiles along a side: 16 together."""
FELLED_M, AT_MOST_M = 60.0, 0.5
"""Radius of the circle, and height above the lowest return around up to which returns stay, in metres."""
MIDDLE, CORNER = 5, 0
"""Place of a tile in the middle of the area and of one at its corner among the sorted names of the 16."""


@dataclass(frozen=True)
class Case:
    """An area that is measured.

    Attributes
    ----------
    what : the area in words
    tile_m : side of a tile in metres
    thinned : one pulse in so many stays
    places : which tiles change, one after the other
    is_drafted_whole : the changed area is drafted whole as well, and compared
        Otherwise the first draft stands for it, as large areas and dense ones take long.
    """

    what: str
    tile_m: int
    thinned: int
    places: tuple[int, ...] = (MIDDLE,)
    is_drafted_whole: bool = True


CASES = {
    # Fields (squares of 1 km) cost most here: the blocks hold few returns.
    "thin": Case("2 km x 2 km, 1 pulse in 24", 500, 24, (MIDDLE, CORNER)),
    "quarter": Case("2 km x 2 km, 1 pulse in 4", 500, 4, is_drafted_whole=False),
    "dense": Case("2 km x 2 km, all pulses", 500, 1, is_drafted_whole=False),
    "large": Case("4 km x 4 km, 1 pulse in 24", 1000, 24, is_drafted_whole=False),
}
"""What is measured, by name; on one core they take 15, 15, 60 and 20 minutes."""
PLACES = {MIDDLE: "in the middle", CORNER: "at a corner"}
HEADS = [
    *("area", "tile", "returns gone", "first draft, s", "whole again, s", "after the change, s", "ratio"),
    *("whole again, s by the clock", "after the change, s by the clock", "ratio by the clock", "files that differ"),
]


@dataclass(frozen=True)
class Took:
    """Seconds that a draft took: of processors, and by the clock."""

    cpu_s: float
    clock_s: float


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


def drafted(area: Path, /) -> Took:
    """Draft an area.

    Raises
    ------
    SystemExit
        With what the run said, if it fails.
    """
    before, begun_s = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
    # Without the limit of time that tests have: a dense or a large area takes an hour.
    words = [sys.executable, "-m", "pipeline.cli", "draft", str(area), "--cores", "1"]
    done = subprocess.run(words, capture_output=True, text=True, cwd=PROJECT, check=False)
    if done.returncode:
        raise SystemExit(done.stderr)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return Took(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime, time.monotonic() - begun_s)


def compared(tiles: list[Path], case: Case, /) -> Table:
    """A row for each tile that changes: seconds, their ratios, files that differ."""
    rows = []
    with tempfile.TemporaryDirectory(prefix="tussock-one-tile-") as name:
        folder = Path(name)
        scene, side_m = Scene.read(tiles, keep_one_in=case.thinned), TILES_ALONG * case.tile_m
        made = sorted(lay_side_by_side(scene, folder / "tiles", side_m=side_m, tile_m=case.tile_m))
        del scene
        area = write_area(folder / "kept", f"{folder}/tiles/*.laz")
        first = drafted(area)
        for place in case.places:
            n_gone = fell(made[place])
            again = drafted(area)
            fresh, apart = first, "not compared"
            if case.is_drafted_whole:
                changed = write_area(folder / f"fresh{place}", f"{folder}/tiles/*.laz")
                fresh = drafted(changed)
                differ = differing(results_of(changed.parent / "out"), results_of(area.parent / "out"))
                apart = ", ".join(differ) or "none"
            rows.append([case.what, PLACES[place], f"{n_gone:,}", *_told(first, fresh, again), apart])
            print(" | ".join(rows[-1]), flush=True)
    return Table("", HEADS, rows)


def _told(first: Took, fresh: Took, again: Took) -> list[str]:
    """The figures of a row."""
    cpu = [f"{took.cpu_s:.0f}" for took in (first, fresh, again)]
    clock = [f"{took.clock_s:.0f}" for took in (fresh, again)]
    return [*cpu, f"{again.cpu_s / fresh.cpu_s:.2f}", *clock, f"{again.clock_s / fresh.clock_s:.2f}"]


def all_compared(tiles: list[Path], names: list[str], /) -> Table:
    """The rows of some cases in one table."""
    return Table("", HEADS, [row for name in names for row in compared(tiles, CASES[name]).rows])


if __name__ == "__main__":
    all_compared(sorted(Path(sys.argv[1]).rglob("*.laz")), sys.argv[2:] or list(CASES))
