"""The tile table, and where tiles lie on the lattice of blocks."""

from __future__ import annotations

import pytest

from pipeline.errors import SurveyError
from pipeline.intake.placement import Placement
from pipeline.intake.tile_table import Tile, TileTable, make_table
from pipeline.lattice.grid import Bounds

HERE = Placement("EPSG:25832", "EPSG:25832", 1.0)


def tile(name: str, bounds: Bounds, *, n_points: int = 100_000, sha256: str | None = None, path: str = "") -> Tile:
    """A tile of the table."""
    return Tile(name, path or f"lidar/{name}.laz", sha256 or name, n_points, bounds, HERE)


def table_of(*tiles: Tile) -> TileTable:
    """A checked table."""
    return make_table(tiles, crs="EPSG:25832")


WEST_TILE = tile("west", (1000.0, 1000.0, 1249.99, 1250.0))

EAST_TILE = tile("east", (1250.0, 1000.0, 1500.0, 1250.0))

FAR_TILE = tile("far", (3000.0, 1000.0, 3100.0, 1250.0))


def test_the_table_is_sorted_whatever_order_tiles_come_in() -> None:
    """Order of input decides nothing."""
    assert table_of(FAR_TILE, WEST_TILE, EAST_TILE) == table_of(EAST_TILE, FAR_TILE, WEST_TILE)
    assert table_of(WEST_TILE, EAST_TILE).names == ["east", "west"]


def test_the_table_survives_a_file() -> None:
    """JSON there and back, and equal tables give equal text."""
    table = table_of(WEST_TILE, EAST_TILE)
    assert TileTable.from_json(table.to_json()) == table
    assert table.to_json() == table_of(EAST_TILE, WEST_TILE).to_json()


def test_neighbours_are_the_tiles_within_a_margin() -> None:
    """A centimetre between tiles, as survey tiles have it, is no gap for a halo of 40 m."""
    table = table_of(WEST_TILE, EAST_TILE, FAR_TILE)
    assert table.neighbours("west") == []
    assert table.neighbours("west", margin_m=40) == ["east"]
    assert table.neighbours("far", margin_m=1500) == ["east"]


def test_blocks_are_those_the_tiles_touch() -> None:
    """Blocks of 250 m, counted from the origin; a tile that ends on an edge has its last points in the next block."""
    table = table_of(WEST_TILE)
    assert [block.name for block in table.blocks(block_m=250)] == ["e4_n4", "e4_n5"]
    assert [block.name for block in table_of(WEST_TILE, EAST_TILE).blocks(block_m=250)] == [
        "e4_n4", "e4_n5", "e5_n4", "e5_n5", "e6_n4", "e6_n5",
    ]  # fmt: skip


def test_an_unknown_name_is_an_error() -> None:
    """A tile that is not there is a mistake of the program, not of the mapper."""
    with pytest.raises(KeyError):
        table_of(WEST_TILE).tile("north")


@pytest.mark.parametrize(
    ("tiles", "words"),
    [
        ([], "no tiles"),
        ([WEST_TILE, tile("West", (0, 0, 100, 100), path="b/West.laz")], "both be called"),
        ([WEST_TILE, tile("copy", WEST_TILE.bounds, sha256="west")], "same tile twice"),
        ([WEST_TILE, tile("empty", (0, 0, 0, 0), n_points=0)], r"empty\.laz: holds no points"),
        ([tile("speck", (0, 0, 3, 3), n_points=10)], "too little to map"),
        ([tile("thin", (0, 0, 4000, 4000), n_points=1000)], r"16\.00 km2"),
    ],
)
def test_tiles_that_make_no_survey_are_refused(tiles: list[Tile], words: str) -> None:
    """Each in words that name the file."""
    with pytest.raises(SurveyError, match=words):
        make_table(tiles, crs="EPSG:25832")


def test_a_sliver_beside_a_full_tile_is_welcome() -> None:
    """The last tile of a delivery may hold three points along an edge."""
    assert len(table_of(WEST_TILE, tile("sliver", (1500, 1000, 1500, 1200), n_points=3)).tiles) == 2


def test_a_turned_tile_has_the_area_of_its_outline() -> None:
    """Reprojecting turns a tile within its bounds: a square of 100 m on its corner has half the area of its bounds."""
    corners = ((6e5 + 50, 6e6), (6e5 + 100, 6e6 + 50), (6e5 + 50, 6e6 + 100), (6e5, 6e6 + 50))
    turned = Tile("a", "a.laz", "a", 1000, (6e5, 6e6, 6e5 + 100, 6e6 + 100), HERE, corners)
    assert turned.area_m2 == pytest.approx(5000, abs=1e-6)
    assert tile("b", (6e5, 6e6, 6e5 + 100, 6e6 + 100)).area_m2 == pytest.approx(10_000, abs=1e-6)
    table = make_table([turned], crs="EPSG:25832")
    assert TileTable.from_json(table.to_json()) == table
