"""What is decided before a point is read."""

import time
import tracemalloc

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.lattice.blocks import Block, block_named, blocks_near, touches
from pipeline.plan import plan as plan_module
from pipeline.plan.cut import LEAST_HALO_M, block_for_density, cell_for_density, halo_for
from pipeline.plan.plan import Plan
from pipeline.settings import FlowSettings
from pipeline.steps.block.reaches import halo_needed_m
from tests.plan.made_plan import made_plan


@pytest.mark.parametrize(("pulses_per_m2", "cell_m"), [(20, 0.5), (3, 0.5), (2.9, 1.0), (0.5, 1.0), (0.2, 2.0)])
def test_cells_follow_the_density_of_pulses(pulses_per_m2: float, cell_m: float) -> None:
    """Half a metre from three pulses a square metre on; two metres where even one metre is often empty."""
    assert cell_for_density(pulses_per_m2) == cell_m


@pytest.mark.parametrize(
    ("returns_per_m2", "block_m"), [(1, 500), (15, 500), (16, 250), (40, 250), (50, 125), (900, 125)]
)
def test_blocks_are_as_large_as_their_returns_allow(returns_per_m2: float, block_m: float) -> None:
    """620 m x 620 m of 15 returns/m2 are 5.8 million; what fits nowhere gets the smallest."""
    assert block_for_density(returns_per_m2, halo_m=60, max_returns=6_000_000) == block_m


def ask_all(plan: Plan) -> int:
    """All the rules ask of a plan, once each; how many jobs there are."""
    for tile in plan.tile_names:
        plan.blocks_reached(tile), plan.classified_of_tile(tile), plan.tile_bounds(tile), plan.split_mem_mb(tile)
    for block in plan.block_names:
        plan.splits_around(block), plan.content_around(block), plan.block_mem_mb(block)
    assert plan.content
    assert plan.mark
    assert plan.most_mem_mb[0] > 0
    for field in plan.field_names:
        plan.core_of(field), plan.blocks_of_field(field)
    return 2 * len(plan.tile_names) + len(plan.block_names) + 4 * len(plan.field_names)


def test_ten_thousand_tiles_are_planned_in_seconds() -> None:
    """2 500 km2: asking who needs whom goes by the lattice and not from all to all, which would take hours."""
    began_s = time.process_time()
    assert ask_all(made_plan(100)) > 30_000
    assert time.process_time() - began_s < 60


def test_planning_grows_with_the_tiles_and_no_faster() -> None:
    """A job takes as much memory in a large survey as in a small one: 2 kB of names and neighbours at most."""
    tracemalloc.start()
    try:
        n_jobs = ask_all(made_plan(20))
        assert tracemalloc.get_traced_memory()[1] < 2000 * n_jobs
    finally:
        tracemalloc.stop()


def test_neighbours_are_looked_up_once_for_each_tile_and_block(monkeypatch: pytest.MonkeyPatch) -> None:
    """Asked anew for every job, planning would take time by the square of the tiles."""
    asked = []

    def counted(*arguments: object, **named: object) -> list[Block]:
        asked.append(arguments)
        return blocks_near(*arguments, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(plan_module, "blocks_near", counted)
    plan = made_plan(6)
    ask_all(plan)
    assert 0 < len(asked) <= len(plan.tile_names) + len(plan.block_names)


@settings(deadline=None)  # the first plan takes longer than the others
@given(st.integers(1, 4), st.floats(80, 700), st.sampled_from([125.0, 130.0, 500.0]))
def test_blocks_and_tiles_ask_for_each_other(n_along: int, side_m: float, block_m: float) -> None:
    """A tile lays returns out for a block exactly when the block reads that tile, and by the definition of touching."""
    plan = made_plan(n_along, side_m=side_m, expert={"flow": {"block_m": block_m}})
    by_tile = {(tile, block) for tile in plan.tile_names for block in plan.blocks_reached(tile)}
    assert by_tile == {(tile, block) for block in plan.block_names for tile in plan.tiles_around(block)}
    bounds = {tile: tuple(map(float, plan.tile_bounds(tile).split(","))) for tile in plan.tile_names}
    assert by_tile == {
        (tile, block)
        for block in plan.block_names
        for tile in plan.tile_names
        if touches(block_named(block, block_m).reach(LEAST_HALO_M), bounds[tile])  # type: ignore[arg-type]
    }
    assert {block for block in plan.block_names if block in plan.blocks_around(block)} == set(plan.block_names)


def test_the_halo_is_wider_than_all_that_looks_over_the_edge_of_a_block() -> None:
    """Nobody can set it; it grows with the window of the ground filter, which may be set."""
    assert "halo_m" not in FlowSettings.model_fields
    assert made_plan(1).flow.halo_m == LEAST_HALO_M
    for window_m in (2.0, 24.0, 60.0):
        plan = made_plan(1, expert={"points": {"ground_window_m": window_m}})
        assert plan.flow.halo_m == halo_for(window_m) >= halo_needed_m(window_m)
