"""Ground covered by returns, in squares of 10 m."""

import numpy as np
import pytest

from pipeline.returns.cloud import Cloud
from pipeline.returns.ground_cells import CELL_M, PATCH_M, GroundCells


def strewn(n: int, *, west: float, south: float, side: float, seed: int = 1) -> Cloud:
    """Returns strewn over a square; every second one is the second return of its pulse."""
    rng = np.random.default_rng(seed)
    enh = np.column_stack([west + rng.uniform(0, side, n), south + rng.uniform(0, side, n), np.zeros(n)])
    return Cloud.of(enh, return_number=(1 + np.arange(n) % 2).astype(np.uint8), n_returns=np.full(n, 2, np.uint8))


def test_density_counts_pulses_on_the_ground_covered_also_below_zero() -> None:
    """8 returns and 4 pulses a square metre, whichever side of the origin; the empty half around does not count."""
    ground = GroundCells.of(strewn(80_000, west=-50, south=-50, side=100))
    assert ground.covered_m2 == 100**2
    assert ground.pulses_per_m2() == pytest.approx(4, rel=0.05)
    assert (ground.cells.min(), ground.cells.max()) == (-5, 4)


def test_pieces_add_up_to_the_whole() -> None:
    """However the returns are cut, cells and pulses are the same."""
    cloud = strewn(5_000, west=3, south=-7, side=60)
    which = np.random.default_rng(2).integers(0, 3, len(cloud))
    parts = GroundCells.joined([GroundCells.of(cloud.take(which == part)) for part in range(3)])
    whole = GroundCells.of(cloud)
    np.testing.assert_array_equal(parts.cells, whole.cells)
    np.testing.assert_array_equal(parts.pulses, whole.pulses)
    assert whole.pulses.sum() == 2_500


def test_tiles_that_overlap_hardly_move_the_density() -> None:
    """A strip that two tiles repeat counts twice and is a small part of the ground; so is a ragged rim."""
    whole = GroundCells.of(strewn(400_000, west=0, south=0, side=200))
    strip = GroundCells.of(strewn(20_000, west=0, south=0, side=40))
    assert GroundCells.joined([whole, strip]).pulses_per_m2() == pytest.approx(whole.pulses_per_m2(), rel=0.02)


def test_patches_lie_on_the_ground_and_on_a_fixed_lattice() -> None:
    """At most as many as asked for, all well covered; a survey smaller than a patch still has one."""
    ground = GroundCells.joined(
        [
            GroundCells.of(strewn(40_000, west=0, south=0, side=400)),
            GroundCells.of(strewn(9, west=900, south=0, side=9)),
        ]
    )
    patches = ground.patches(5)
    assert 3 <= len(patches) <= 5
    assert all(west % PATCH_M == south % PATCH_M == 0 and east <= 400 for west, south, east, _ in patches)
    assert len(GroundCells.of(strewn(9, west=0, south=0, side=CELL_M)).patches(5)) == 1
    assert GroundCells.joined([]).patches(5) == []
    assert GroundCells.joined([]).pulses_per_m2() == 0
