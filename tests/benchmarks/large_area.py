"""A large area out of a small scene: `python -m tests.benchmarks.large_area SCENE FOLDER SIDE_M [KEEP_ONE_IN]`.

The scene is laid side by side, every other copy mirrored, so that heights go on without a step at the seams, and cut
to a square of SIDE_M metres in tiles of 500 m. Of its pulses one in KEEP_ONE_IN stays, for areas that would be too
much for a machine otherwise.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import laspy
import numpy as np
from numpy.typing import NDArray

TILE_M = 500
"""Side of a tile in metres: surveys come in tiles of 250 to 1000 m."""
SECONDS_APART = 100_000.0
"""Added to the GPS times of each copy: returns of one time are taken for one pulse, wherever they lie."""


@dataclass(frozen=True)
class Scene:
    """The returns of a square scene.

    Attributes
    ----------
    points : laspy.LasData
    inside_m : (n, 2) metres east and north of its south-west corner
    corner : the corner's east and north in whole metres
    side_m : int
    """

    points: laspy.LasData
    inside_m: NDArray[np.float64]
    corner: tuple[int, int]
    side_m: int

    @classmethod
    def read(cls, tiles: list[Path], /, *, keep_one_in: int = 1) -> Scene:
        """The returns of all tiles, of one pulse in so many.

        Raises
        ------
        ValueError
            If the tiles do not fill a square.
        """
        clouds = [laspy.read(tile) for tile in tiles]
        points = laspy.LasData(clouds[0].header)
        points.points = laspy.ScaleAwarePointRecord(
            np.concatenate([_raw(cloud, clouds[0].header) for cloud in clouds]),
            clouds[0].header.point_format,
            clouds[0].header.scales,
            clouds[0].header.offsets,
        )
        _, pulse = np.unique(np.asarray(points.gps_time), return_inverse=True)
        points.points = points.points[pulse % keep_one_in == 0]
        places = np.column_stack((points.x, points.y))
        low, high = np.floor(places.min(axis=0)), np.ceil(places.max(axis=0))
        if (high - low)[0] != (high - low)[1]:
            raise ValueError(f"{len(tiles)} tiles do not fill a square of whole metres")
        return cls(points, places - low, (int(low[0]), int(low[1])), int((high - low)[0]))


def _raw(cloud: laspy.LasData, header: laspy.LasHeader) -> NDArray[np.void]:
    """Its points with whole steps counted from the offsets of another header of the same scales."""
    raw = cloud.points.array.copy()
    for axis, name in enumerate("XYZ"):
        raw[name] += round((cloud.header.offsets[axis] - header.offsets[axis]) / header.scales[axis])
    return raw


def lay_side_by_side(scene: Scene, folder: Path, /, *, side_m: int, tile_m: int | None = None) -> list[Path]:
    """Write the tiles of a square area that begins where the scene does and goes on in mirrored copies of it.

    Parameters
    ----------
    side_m, tile_m : side of the area and of a tile in metres; tiles of TILE_M where none is given

    Returns
    -------
    The files, named EAST_NORTH by their south-west corners in whole metres.
    """
    folder.mkdir(parents=True, exist_ok=True)
    made, tile_m = [], tile_m or TILE_M
    for south in range(0, side_m, tile_m):
        for west in range(0, side_m, tile_m):
            target = folder / f"{scene.corner[0] + west}_{scene.corner[1] + south}.laz"
            _write_tile(scene, target, west, south, min(west + tile_m, side_m), min(south + tile_m, side_m))
            made.append(target)
    return made


def _write_tile(scene: Scene, target: Path, west: int, south: int, east: int, north: int) -> None:
    """Write what of all copies lies between these metres from the corner of the area."""
    parts, header = [], scene.points.header
    for row in range(south // scene.side_m, -(-north // scene.side_m)):
        for col in range(west // scene.side_m, -(-east // scene.side_m)):
            at_m = _laid(scene.inside_m[:, 0], col, scene.side_m), _laid(scene.inside_m[:, 1], row, scene.side_m)
            chosen = (at_m[0] >= west) & (at_m[0] < east) & (at_m[1] >= south) & (at_m[1] < north)
            raw = scene.points.points.array[chosen].copy()
            for axis, name in enumerate("XY"):
                from_offset_m = scene.corner[axis] - header.offsets[axis] + at_m[axis][chosen]
                raw[name] = np.round(from_offset_m / header.scales[axis])
            # A copy of its own has a time of its own, whichever tile it is in.
            raw["gps_time"] += (row * 1000 + col) * SECONDS_APART
            parts.append(raw)
    tile = laspy.LasData(header)
    tile.points = laspy.ScaleAwarePointRecord(np.concatenate(parts), header.point_format, header.scales, header.offsets)
    tile.write(target)


def _laid(inside_m: NDArray[np.float64], copy: int, side_m: int) -> NDArray[np.float64]:
    """(n,) metres from the corner of the area, in a copy that is turned round if it is an odd one."""
    return copy * side_m + (side_m - inside_m if copy % 2 else inside_m)


if __name__ == "__main__":
    lay_side_by_side(
        Scene.read(sorted(Path(sys.argv[1]).rglob("*.laz")), keep_one_in=int(sys.argv[4]) if len(sys.argv) > 4 else 1),
        Path(sys.argv[2]),
        side_m=int(sys.argv[3]),
    )
