"""A large area out of a small scene: `python -m tests.benchmarks.large_area SCENE FOLDER N` writes N x N tiles.

The scene is laid side by side, every other copy mirrored, so that heights go on without a step at the seams.
"""

from __future__ import annotations

import sys
from pathlib import Path

import laspy
import numpy as np

SECONDS_APART = 100_000.0
"""Added to the GPS times of each copy: returns of one time are taken for one pulse, wherever they lie."""


def lay_side_by_side(tiles: list[Path], folder: Path, /, *, n: int) -> list[Path]:
    """Write n x n square tiles that go on where the tiles of a scene end.

    Parameters
    ----------
    tiles : LAZ files of one size, named EAST_NORTH in whole metres, that fill a square
    folder : Path
        Made where it is not there.
    n : int
        Tiles in a row.

    Returns
    -------
    The files, named in the same way.

    Raises
    ------
    ValueError
        If the tiles do not fill a square.
    """
    corners = {tuple(int(part) for part in path.stem.split("_")): path for path in tiles}
    easts, norths = (sorted({corner[axis] for corner in corners}) for axis in (0, 1))
    k = len(easts)
    if k < 2 or len(corners) != k * k or len(norths) != k:
        raise ValueError(f"{len(tiles)} tiles do not fill a square of tiles")
    folder.mkdir(parents=True, exist_ok=True)
    side_m = easts[1] - easts[0]
    made = []
    for row in range(n):
        for col in range(n):
            source = corners[easts[_mirrored(col, k)], norths[_mirrored(row, k)]]
            west, south = easts[0] + col * side_m, norths[0] + row * side_m
            target = folder / f"{west}_{south}.laz"
            _write_copy(source, target, (west, south), side_m, copy=(col // k, row // k), number=row * n + col)
            made.append(target)
    return made


def _mirrored(place: int, k: int) -> int:
    """Which of k tiles in a row stands at a place, where every other copy is turned round: 0 1 1 0 0 1 for k = 2."""
    return k - 1 - place % k if place // k % 2 else place % k


def _write_copy(
    source: Path, target: Path, corner: tuple[int, int], side_m: int, *, copy: tuple[int, int], number: int
) -> None:
    """Write a tile with its south-west corner elsewhere, mirrored along each axis whose copy is an odd one."""
    las = laspy.read(source)
    old = [int(part) for part in source.stem.split("_")]
    for axis, name in enumerate("xy"):
        inside_m = np.asarray(getattr(las, name)) - old[axis]
        setattr(las, name, corner[axis] + (side_m - inside_m if copy[axis] % 2 else inside_m))
    las.gps_time = las.gps_time + number * SECONDS_APART
    las.write(target)


if __name__ == "__main__":
    lay_side_by_side(sorted(Path(sys.argv[1]).rglob("*.laz")), Path(sys.argv[2]), n=int(sys.argv[3]))
