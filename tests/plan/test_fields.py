"""Which fields an area is drawn in."""

from __future__ import annotations

import shapely

from pipeline.lattice.blocks import Block
from pipeline.plan.fields import blocks_of, fields_of_area

TILES = [(1000.0 * i, 1000.0 * j, 1000.0 * (i + 1), 1000.0 * (j + 1)) for i in range(3) for j in range(2)]


def test_only_fields_that_the_boundary_touches_are_drawn() -> None:
    """The ground around is read as their margin."""
    assert len(fields_of_area(TILES, None)) == 6
    boundary = shapely.box(900, 200, 1100, 400)
    assert list(fields_of_area(TILES, boundary)) == ["e0_n0", "e1_n0"]


def test_a_field_reads_the_blocks_around_it() -> None:
    """Those within its margin, of those that were worked on."""
    field = fields_of_area(TILES, None)["e1_n0"]
    blocks = {block.name: block for block in (Block(c, r, 500.0) for c in range(6) for r in range(4))}
    assert sorted(blocks_of(field, blocks, block_m=500.0)) == sorted(
        f"e{c}_n{r}" for c in range(1, 5) for r in range(3)
    )


def test_an_only_field_reads_all_blocks() -> None:
    """A small area is drawn at once."""
    fields = fields_of_area(TILES[:2], None)
    assert list(fields) == ["whole"]
    blocks = {block.name: block for block in (Block(c, r, 500.0) for c in range(2) for r in range(4))}
    assert blocks_of(fields["whole"], blocks, block_m=500.0) == list(blocks)
