"""Which fields an area is drawn in, from the ground its tiles cover."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.blocks import Block, blocks_near
from pipeline.lattice.fields import FIELD_M, MAX_MARGIN_M, ONE_FIELD_M2, Field, fields_over
from pipeline.lattice.grid import Bounds

COARSE_CELL_M = 1.0
"""Side of a cell, in metres, from which fields are twice as long, and hold as many cells as others do at 0.5 m."""
MOST_CROWDED = 2.5
"""Times as many pulses as in the frame of the densest tile that the ground it covers may hold. Were it more, as where
every tile covers a sliver of its frame, cells would be finer than expected, and a field would need too much memory.
Our choice."""


def field_for_cell(cell_m: float, /) -> float:
    """Side of a field in metres: larger where cells are coarse, as what a field may hold is a number of cells.

    Each field looks at 200 m around it. Of fields of 1 km, four in a square work on 1.4 times their own ground and a
    hundred on 1.9 times; of fields of 2 km on 1.2 and 1.4 times.
    """
    return 2 * FIELD_M if cell_m >= COARSE_CELL_M else FIELD_M


def fields_of_area(
    frames: Sequence[Bounds], boundary: BaseGeometry | None, /, *, field_m: float = FIELD_M
) -> dict[str, Field]:
    """The fields to draw by their names: those of the tiles' frames that the mapper's boundary touches."""
    fields = fields_over(frames, field_m=field_m, one_field_m2=ONE_FIELD_M2 * (field_m / FIELD_M) ** 2)
    if boundary is not None:
        fields = [field for field in fields if shapely.intersects(boundary, shapely.box(*field.core))]
    return {field.name: field for field in fields}


def blocks_of(field: Field, blocks: dict[str, Block], /, *, block_m: float) -> list[str]:
    """Names of the working blocks, of those given, that a field or the widest margin around it reaches."""
    if field.name == "whole":
        return list(blocks)
    near = blocks_near(field.reach(MAX_MARGIN_M), block_m=block_m)
    return [block.name for block in near if block.name in blocks]
