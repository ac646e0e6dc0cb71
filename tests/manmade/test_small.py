"""Small solid things on open ground, and what is none of them."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.lattice.grid import Grid, Heights
from pipeline.manmade.small import SMALL_COUNTS, draw_small

GRID = Grid("EPSG:25832", 2000, 8400, 0.5, 300, 300)
EAST, NORTH = np.meshgrid(*GRID.centres())
MIDDLE = (GRID.bounds[0] + 75.25, GRID.bounds[1] + 75.25)


def block(long_m: float, wide_m: float, height_m: float) -> Heights:
    """A block with an even top in the middle of short grass."""
    inside = (np.abs(EAST - MIDDLE[0]) < long_m / 2) & (np.abs(NORTH - MIDDLE[1]) < wide_m / 2)
    return np.where(inside, height_m, 0.05).astype(np.float32)


def seen(tops: Heights, *, last_share: float = 1.0) -> dict[str, Heights]:
    """Three returns in each cell; under what stands none reaches the ground, and so large a share is a last one."""
    stands = tops > 0.3
    total = np.full(GRID.shape, 3, np.float32)
    last = np.where(stands, 3 * last_share, 3).astype(np.float32)
    return dict(zip(SMALL_COUNTS, (total, last, np.where(stands, 0, 3).astype(np.float32)), strict=True))


def knoll() -> Heights:
    """A hill 5 m high around the middle."""
    away = np.hypot(EAST - MIDDLE[0], NORTH - MIDDLE[1])
    return (5 * np.exp(-((away / 25) ** 2))).astype(np.float32)


@pytest.mark.parametrize(
    ("shape", "symbol"),
    [((2.0, 2.0, 1.2), "526"), ((2.6, 2.6, 2.3), "530"), ((1.2, 1.2, 4.0), "531")],
    ids=["cairn", "hut", "stand"],
)
def test_a_cairn_a_hut_and_a_stand_are_candidates(shape: tuple[float, float, float], symbol: str) -> None:
    """Each on the top of a hill, one point in its middle, and surer than nothing but less than a half."""
    tops = block(*shape)
    found = draw_small(tops, knoll(), seen(tops), GRID)
    assert list(found.symbol) == [symbol]
    assert np.hypot(found.geometry.x[0] - MIDDLE[0], found.geometry.y[0] - MIDDLE[1]) < 1
    assert 0 < found.confidence[0] < 0.5


def test_a_cairn_is_looked_for_on_tops_only() -> None:
    """The same heap on level ground may be a boulder, which is told elsewhere."""
    tops = block(2.0, 2.0, 1.2)
    assert draw_small(tops, np.zeros(GRID.shape, np.float32), seen(tops), GRID).empty


@pytest.mark.parametrize(
    "tops",
    [block(4.6, 1.8, 1.5), block(6.0, 5.0, 3.0), block(20.0, 0.7, 1.0), block(1.5, 1.5, 25.0)],
    ids=["car", "house", "wall", "tower"],
)
def test_cars_houses_walls_and_towers_are_none(tops: Heights) -> None:
    """By their length or height, though they stand on a hill."""
    assert draw_small(tops, knoll(), seen(tops), GRID).empty


def test_bushes_are_none() -> None:
    """Part of each pulse goes through their leaves."""
    tops = block(2.6, 2.6, 2.3)
    assert draw_small(tops, knoll(), seen(tops, last_share=0.6), GRID).empty


def test_what_stands_among_bushes_is_none() -> None:
    """Only open ground is looked at."""
    tops = block(2.6, 2.6, 2.3)
    strewn = np.random.default_rng(2).random(GRID.shape) < 0.2
    tops = np.where(strewn & (block(5.0, 5.0, 9.0) < 1), np.float32(1.5), tops)
    assert draw_small(tops, knoll(), seen(tops), GRID).empty


def test_wide_cells_tell_nothing() -> None:
    """In cells of a metre a hut of 2.6 m has hardly an inside."""
    coarse = Grid(GRID.crs, 1000, 4200, 1.0, 150, 150)
    tops = block(2.6, 2.6, 2.3)
    thin = {name: values[::2, ::2] for name, values in seen(tops).items()}
    assert draw_small(tops[::2, ::2], knoll()[::2, ::2], thin, coarse).empty
