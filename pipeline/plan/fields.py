"""Which fields an area is drawn in, from the ground its tiles cover."""

from __future__ import annotations

from collections.abc import Sequence

import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.blocks import Block, blocks_near
from pipeline.lattice.fields import FIELD_M, MAX_MARGIN_M, Field, fields_over
from pipeline.lattice.grid import Bounds


def fields_of_area(
    frames: Sequence[Bounds], boundary: BaseGeometry | None, /, *, field_m: float = FIELD_M
) -> dict[str, Field]:
    """The fields to draw by their names: those of the tiles' frames that the mapper's boundary touches."""
    fields = fields_over(frames, field_m=field_m)
    if boundary is not None:
        fields = [field for field in fields if shapely.intersects(boundary, shapely.box(*field.core))]
    return {field.name: field for field in fields}


def blocks_of(field: Field, blocks: dict[str, Block], /, *, block_m: float) -> list[str]:
    """Names of the working blocks, of those given, that a field or the widest margin around it reaches."""
    if field.name == "whole":
        return list(blocks)
    near = blocks_near(field.reach(MAX_MARGIN_M), block_m=block_m)
    return [block.name for block in near if block.name in blocks]
