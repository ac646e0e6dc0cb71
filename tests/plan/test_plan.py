"""What is decided before a point is read."""

import pytest

from pipeline.plan.plan import block_for_density, cell_for_density


@pytest.mark.parametrize(("pulses_per_m2", "cell_m"), [(20, 0.5), (3, 0.5), (2.9, 1.0), (0.5, 1.0), (0.2, 2.0)])
def test_cells_follow_the_density_of_pulses(pulses_per_m2: float, cell_m: float) -> None:
    """Half a metre from three pulses a square metre on; two metres where even one metre is often empty."""
    assert cell_for_density(pulses_per_m2) == cell_m


@pytest.mark.parametrize(
    ("returns_per_m2", "block_m"), [(1, 500), (18, 500), (19, 250), (40, 250), (50, 125), (900, 125)]
)
def test_blocks_are_as_large_as_their_returns_allow(returns_per_m2: float, block_m: float) -> None:
    """660 m x 660 m of 18 returns/m2 are 7.8 million; what fits nowhere gets the smallest."""
    assert block_for_density(returns_per_m2, halo_m=80, max_returns=8_000_000) == block_m
