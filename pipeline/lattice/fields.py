"""Fields: squares of a fixed lattice that the sections of the map are drawn in, one after the other or side by side.

An area is too large to be drawn in one piece. A section reads the rasters of a field and of a margin around it, draws
what it finds, and keeps what lies in the field itself (`pipeline.draft.joining.cut_to_core`); composition joins the
pieces (`pipeline.draft.joining.join_fields`). That leaves no seam where a section draws the same in the margin as its
neighbour does in its core: whatever decides about a place lies within the margin around it, and nothing is counted
from the corner of the window.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from pipeline.lattice.grid import Bounds

FIELD_M = 1000.0
"""Side of a field in metres, a multiple of every side of a cell. With a margin of 200 m a field works on 2 km2: smaller
ones work on more margin than field, larger ones need more memory. Our choice."""
ONE_FIELD_M2 = 2e6
"""Ground up to which an area is one field whatever its shape, in square metres: as much as a field and its margin."""
ONE_FIELD_FRAME_M2 = 3e6
"""Largest frame of an area that is one field, in square metres. Rasters fill the frame, so strips across the country
would need the memory of all the land between them."""
MAX_MARGIN_M = 200.0
"""Widest margin in metres that a section may ask for."""


@dataclass(frozen=True, order=True)
class Field:
    """What a section draws at a time.

    Attributes
    ----------
    name : str
        Its place in the lattice, such as `e12_s3`: fields east (or west) and north (or south). `whole` for an only
        field. No sign stands in it, which a command line would take for an option.
    core : west, south, east, north in metres
        The ground that is its own: west and south edge belong to it, east and north edge to its neighbours. The core
        of an only field reaches out to the lattice, beyond all rasters.
    """

    name: str
    core: Bounds

    def reach(self, margin_m: float) -> Bounds:
        """The core grown by a margin on all sides: the ground whose rasters a section reads."""
        west, south, east, north = self.core
        return west - margin_m, south - margin_m, east + margin_m, north + margin_m


def fields_over(
    frames: Sequence[Bounds], /, *, field_m: float = FIELD_M, one_field_m2: float = ONE_FIELD_M2
) -> list[Field]:
    """The fields that hold some of the ground of the frames, from west to east, then from south to north.

    Parameters
    ----------
    frames : rectangles (west, south, east, north), such as those of the working blocks
        Those that touch a field at its edge only do not count as ground of it.
    field_m : float
        Side of a field in metres.
    one_field_m2 : float
        Ground up to which there is one field only.

    Raises
    ------
    ValueError
        If there is no ground.
    """
    boxes = [shapely.box(*frame) for frame in frames]
    ground = shapely.union_all(boxes)
    if ground.is_empty or not ground.area > 0:
        raise ValueError("there is no ground to draw")
    spans = [_places(frame, field_m) for frame in frames]
    whole = (min(s[0] for s in spans), min(s[1] for s in spans), max(s[2] for s in spans), max(s[3] for s in spans))
    if (
        ground.area <= one_field_m2
        and shapely.envelope(ground).area <= ONE_FIELD_FRAME_M2 * one_field_m2 / ONE_FIELD_M2
    ):
        west, south, east, north = whole
        return [Field("whole", (west * field_m, south * field_m, east * field_m, north * field_m))]
    found = {(col, row) for w, s, e, n in spans for col in range(w, e) for row in range(s, n)}
    return [_field(col, row, field_m) for col, row in sorted(found)]


def _places(frame: Bounds, field_m: float) -> tuple[int, int, int, int]:
    """Columns and rows of fields of a frame: the first ones, and those after the last."""
    west, south, east, north = (value / field_m for value in frame)
    # A hair of tolerance keeps an edge on the lattice from gaining a field through rounding.
    return math.floor(west + 1e-9), math.floor(south + 1e-9), math.ceil(east - 1e-9), math.ceil(north - 1e-9)


def _field(col: int, row: int, field_m: float) -> Field:
    name = f"{'w' if col < 0 else 'e'}{abs(col)}_{'s' if row < 0 else 'n'}{abs(row)}"
    return Field(name, (col * field_m, row * field_m, (col + 1) * field_m, (row + 1) * field_m))
