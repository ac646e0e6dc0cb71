"""What whole drafts of square areas cost: `python -m tests.benchmarks.sizes SCENE [--sides 500,1000,2000]`.

Each area is made of copies of a scene, one pulse in so many kept, and drafted from LAZ to field sheet on two cores.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import laspy

from tests.benchmarks.large_area import Scene, lay_side_by_side
from tests.benchmarks.results import Table
from tests.benchmarks.watched import Cost, run_watched
from tests.runs import write_area

SIDES_M = (500, 1000, 2000)
"""Sides, in metres, of the areas that are compared: each has four times the ground of the one before."""
KEEP_ONE_IN = 8
"""One pulse in so many stays, which leaves one a square metre: 16 km2 of all of them would take an hour."""
COLUMNS = ["km2", "returns", "seconds", "seconds a km2", "GiB of the largest process", "GiB together"]


def draft_watched(tiles: Path, folder: Path, /, **settings: str) -> tuple[Path, Cost]:
    """Draft the tiles in a folder, with further lines of the area file: where the draft is, and what it took."""
    area = write_area(folder, f"{tiles}/*.laz", **settings)
    cost = run_watched([sys.executable, "-m", "pipeline.cli", "draft", str(area), "--cores", "2"])
    return area.parent / "out", cost


def draft_kept(tiles: Path, folder: Path, /) -> Path:
    """The draft of the tiles in a folder, with all files made on the way."""
    area = write_area(folder, f"{tiles}/*.laz")
    run_watched([sys.executable, "-m", "pipeline.cli", "draft", str(area), "--cores", "2", "--keep"])
    return area.parent / "out"


def cost_row(tiles: Path, cost: Cost, /) -> list[str]:
    """The figures of COLUMNS for the draft of the tiles in a folder."""
    headers = [laspy.open(tile).header for tile in sorted(tiles.glob("*.laz"))]
    area_km2 = sum((h.x_max - h.x_min) * (h.y_max - h.y_min) for h in headers) / 1e6
    return [
        f"{area_km2:.2f}",
        f"{sum(h.point_count for h in headers):,}",
        f"{cost.seconds:.0f}",
        f"{cost.seconds / area_km2:.0f}",
        f"{cost.largest_gib:.2f}",
        f"{cost.together_gib:.2f}",
    ]


def costs_of_sizes(scene: Sequence[Path], /, *, sides_m: Sequence[int], keep_one_in: int) -> Table:
    """A row for each side, printed as it is known; nothing of one area stays on the disk beside the next."""
    rows = []
    copied = Scene.read(list(scene), keep_one_in=keep_one_in)
    for side_m in sides_m:
        with tempfile.TemporaryDirectory(prefix="tussock-sizes-") as name:
            tiles = Path(name) / "tiles"
            lay_side_by_side(copied, tiles, side_m=side_m)
            rows.append(cost_row(tiles, draft_watched(tiles, Path(name) / "draft")[1]))
        print(" | ".join(rows[-1]), flush=True)
    return Table("", COLUMNS, rows)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.sizes")
    parser.add_argument("scene", type=Path, help="folder with the tiles of a square scene")
    parser.add_argument("--sides", default=",".join(map(str, SIDES_M)), help="sides in metres, with commas between")
    parser.add_argument("--keep-one-in", type=int, default=KEEP_ONE_IN, help="one pulse in so many stays")
    given = parser.parse_args()
    sides_m = [int(side) for side in given.sides.split(",")]
    costs_of_sizes(sorted(given.scene.rglob("*.laz")), sides_m=sides_m, keep_one_in=given.keep_one_in)


if __name__ == "__main__":
    main()
