"""The same survey drafted in other ways, byte by byte: `python -m tests.benchmarks.identity FOLDER [SIDE_M] [WAY ...]`.

FOLDER holds the tiles of a survey; of a square of SIDE_M metres in their middle all (0), or what lies in it, is drafted
over and over: on one core, by plain `snakemake`, in working blocks of several sizes, with the tiles in the opposite
order, and with all returns in one tile; or only in the ways named, such as "one tile". Files whose names and words come
of the tiles themselves are left out where the tiles are others; there the classes are compared return by return.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import laspy
import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.results import Table
from tests.runs import merged_tile, plain_snakemake, tussock, write_area
from tests.same_files import differing, results_of

OF_TILES = ("points/", "report/survey")
"""Results that name tiles, say how many there are, or stand in their order."""
WHAT_IDENTIFIES = ("X", "Y", "Z", "gps_time", "return_number", "point_source_id", "intensity", "classification")
"""Fields by which returns of two files are brought into one order; the last is compared."""


@dataclass(frozen=True)
class Way:
    """One way to draft the same survey.

    Attributes
    ----------
    name : str
    tiles : Path
        Folder of its tiles.
    cores : int
    block_m : float or None
        Side of a working block; None to let the density decide.
    without_command : bool
        Whether Snakemake is called as it is, and not by `tussock draft`.
    """

    name: str
    tiles: Path
    cores: int = 2
    block_m: float | None = None
    without_command: bool = False

    def draft(self, folder: Path) -> Path:
        """Draft it to the end: where the results are.

        Raises
        ------
        SystemExit
            With what the run said, if it fails.
        """
        given = {} if self.block_m is None else {"expert": f"{{flow: {{block_m: {self.block_m:g}}}}}"}
        area = write_area(folder, f"{self.tiles}/*.laz", **given)
        done = plain_snakemake(area) if self.without_command else tussock("draft", area, "--cores", str(self.cores))
        if done.returncode:
            raise SystemExit(f"{self.name}: {done.stderr}")
        return area.parent / "out"


def ways_of(tiles: list[Path], folder: Path, side_m: float | None) -> list[Way]:
    """The ways, the plain one first; their tiles are written into a folder."""
    plain = folder / "plain"
    _lay_out(tiles, plain, side_m)
    ours = sorted(plain.glob("*.laz"))
    for place, tile in enumerate(ours[::-1]):
        (folder / "reversed").mkdir(exist_ok=True)
        (folder / "reversed" / f"{place:04d}.laz").symlink_to(tile)
    merged_tile(ours, folder / "merged" / "all.laz")
    return [
        Way("as it comes, on two cores", plain),
        Way("on one core", plain, cores=1),
        Way("plain snakemake", plain, without_command=True),
        Way("blocks of 125 m", plain, block_m=125.0),
        Way("blocks of 250 m", plain, block_m=250.0),
        Way("blocks of 500 m", plain, block_m=500.0),
        Way("tiles in the opposite order", folder / "reversed"),
        Way("one tile", folder / "merged"),
    ]


def _lay_out(tiles: list[Path], folder: Path, side_m: float | None) -> None:
    """Links to tiles, or copies of what of them lies in a square in their middle."""
    folder.mkdir(parents=True)
    if side_m is None:
        for tile in tiles:
            (folder / tile.name).symlink_to(tile)
        return
    headers = [laspy.open(tile).header for tile in tiles]
    low = np.min([header.mins[:2] for header in headers], axis=0)
    middle = np.round((low + np.max([header.maxs[:2] for header in headers], axis=0)) / 2)
    for tile in tiles:
        las = laspy.read(tile)
        away_m = np.max(abs(np.column_stack((las.x, las.y)) - middle), axis=1)
        las.points = las.points[away_m <= side_m / 2]
        if len(las.points):
            las.write(folder / tile.name)


def returns_of(out: Path) -> NDArray[np.generic]:
    """All returns that a run wrote, by what identifies them, in one order; places in whole steps of the first tile."""
    parts = []
    for tile in sorted((out / "points").glob("*.laz")):
        las = laspy.read(tile)
        names = [name for name in WHAT_IDENTIFIES if name in "XYZ" or name in las.point_format.dimension_names]
        fields = {name: np.asarray(las[name], np.float64) for name in names}
        fields |= {axis.upper(): np.asarray(las[axis]) for axis in "xyz"}
        parts.append(np.column_stack([np.round(fields[name], 6) for name in names]))
    joined = np.concatenate(parts)
    return joined[np.lexsort(joined.T[::-1])]


def compared(tiles: list[Path], side_m: float | None = None, only: Sequence[str] = ()) -> Table:
    """A row for each way but the first, or for those named: files compared, files and returns' classes that differ."""
    rows = []
    with tempfile.TemporaryDirectory(prefix="tussock-identity-") as name:
        first, *others = ways_of(tiles, Path(name) / "tiles", side_m)
        others = [way for way in others if way.name in only or not only]
        plain = first.draft(Path(name) / "first")
        expected, returns = results_of(plain), returns_of(plain)
        for number, way in enumerate(others):
            out = way.draft(Path(name) / f"way{number}")
            ours, theirs = expected, results_of(out)
            if way.tiles != first.tiles:
                ours, theirs = (
                    {name: mark for name, mark in marks.items() if not name.startswith(OF_TILES)}
                    for marks in (ours, theirs)
                )
            found = differing(ours, theirs)
            n_others = _others(returns, returns_of(out))
            rows.append([way.name, str(len(ours)), ", ".join(found) or "none", f"{n_others} of {len(returns):,}"])
            print(" | ".join(rows[-1]), flush=True)
    return Table("", ["way", "files compared", "files that differ", "returns of another class"], rows)


def _others(one: NDArray[np.generic], other: NDArray[np.generic]) -> int:
    """How many returns are not the same in both."""
    if one.shape != other.shape:
        return max(len(one), len(other))
    return int((one != other).any(axis=1).sum())


if __name__ == "__main__":
    compared(sorted(Path(sys.argv[1]).rglob("*.laz")), float((sys.argv[2:] or ["0"])[0]) or None, sys.argv[3:])
