"""Wires told from crowns, roofs and decks, on lines of known place."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.lattice.grid import EastNorthHeight, Mask
from pipeline.points.wires import find_wires
from pipeline.returns.cloud import Cloud
from pipeline.settings import WireSettings

LOWEST_M = WireSettings().min_height_m
CORNER = np.array([500_000.0, 5_600_000.0, 200.0])
Numbers = NDArray[np.float64]


def ground(side_m: float = 120.0, per_m2: float = 4.0) -> EastNorthHeight:
    """Returns of a level square about the origin."""
    rng = np.random.default_rng(1)
    n = round(per_m2 * side_m**2)
    return np.column_stack([rng.uniform(-side_m / 2, side_m / 2, (n, 2)), rng.normal(0, 0.03, n)])


def wire(
    length_m: float,
    *,
    aside_m: float = 0.0,
    per_m: float = 1.5,
    low_m: float = 7.0,
    turn_deg: float = 20.0,
    seed: int = 2,
) -> EastNorthHeight:
    """Returns of a wire that sags 1.5 m between its ends, through the origin or aside of it."""
    rng = np.random.default_rng(seed)
    along = rng.uniform(-length_m / 2, length_m / 2, round(per_m * length_m))
    up = low_m + 1.5 * (2 * along / length_m) ** 2 + rng.normal(0, 0.03, len(along))
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return np.column_stack([along * c - aside_m * s, along * s + aside_m * c, up])


def trees(middles: Numbers, *, top_m: float = 14.0, radius_m: float = 2.5, returns: int = 150) -> EastNorthHeight:
    """Returns of cone-shaped crowns from 2 m to the top."""
    rng = np.random.default_rng(6)
    parts = []
    for middle in middles:
        up = rng.uniform(2, top_m, returns)
        reach = radius_m * (1 - up / (top_m + 1)) * np.sqrt(rng.random(returns))
        turn = rng.uniform(0, 2 * np.pi, returns)
        parts.append(np.column_stack([middle[0] + reach * np.cos(turn), middle[1] + reach * np.sin(turn), up]))
    return np.concatenate(parts)


def wires_of(enh: EastNorthHeight) -> Mask:
    """What is found on level ground at 0, where everything above 0.3 m is a candidate."""
    return find_wires(Cloud.of(enh + CORNER), enh[:, 2].astype(np.float32), enh[:, 2] > 0.3, min_height_m=LOWEST_M)


@pytest.mark.parametrize("pulses_per_m2", [4.0, 8.0, 24.0])
@pytest.mark.parametrize("turn_deg", [0.0, 20.0, 90.0])
def test_a_span_is_found_but_for_its_ends(pulses_per_m2: float, turn_deg: float) -> None:
    """Three wires 1.2 m apart over open ground, in any direction and density, and no return of the ground."""
    earth = ground(per_m2=pulses_per_m2)
    line = np.concatenate(
        [
            wire(80, aside_m=aside, per_m=pulses_per_m2 / 5, turn_deg=turn_deg, seed=3 + k)
            for k, aside in enumerate((-1.2, 0.0, 1.2))
        ]
    )
    found = wires_of(np.concatenate([earth, line]))
    inner = np.hypot(line[:, 0], line[:, 1]) < 34
    assert found[len(earth) :][inner].mean() > 0.98
    assert found[len(earth) :].mean() > 0.88
    assert not found[: len(earth)].any()


def test_wires_above_each_other_on_both_arms_are_found_and_go_on_past_a_tree() -> None:
    """Six wires on three levels 6 m apart, the arms 8 m apart, with a tree that reaches up to the lowest of one arm."""
    arms = [(aside, low) for aside in (-4.0, 4.0) for low in (12.0, 18.0, 24.0)]
    line = np.concatenate(
        [wire(110, aside_m=aside, low_m=low, per_m=3, turn_deg=30, seed=3 + k) for k, (aside, low) in enumerate(arms)]
    )
    tree = trees(np.array([[2.0, -3.5]]), top_m=11.5)
    others = np.concatenate([ground(per_m2=12.0), tree])
    found = wires_of(np.concatenate([others, line]))
    assert found[len(others) :].mean() > 0.9
    assert found[: len(others)].mean() < 0.001


def test_shrubs_strewn_over_open_land_hold_no_wire() -> None:
    """Crowns with a top at 5 m, some of them in line by chance: each has others beside it."""
    strewn = np.random.default_rng(8).uniform(-55, 55, (400, 2))
    shrubs = trees(strewn, top_m=6.0, radius_m=1.0, returns=12)
    assert not wires_of(np.concatenate([ground(), shrubs])).any()


def test_a_string_of_15_metres_is_too_short() -> None:
    """A fallen branch or a clothes line is no power line."""
    assert not wires_of(np.concatenate([ground(), wire(15, per_m=3)])).any()


def test_trees_beside_a_corridor_and_shrubs_under_it_are_no_wire() -> None:
    """Only the wire is found between two rows of trees 16 m apart and above shrubs 2 m high."""
    places = np.arange(-45, 46, 4.0)
    rows = np.concatenate([np.column_stack([places, np.full(len(places), side)]) for side in (-8.0, 8.0)])
    shrubs = ground(60, 1.0) * [1, 0.1, 1] + [0, 0, 2.0]
    others = np.concatenate([ground(), trees(rows), shrubs])
    line = wire(90, turn_deg=0)
    found = wires_of(np.concatenate([others, line]))
    assert found[len(others) :].mean() > 0.9
    assert not found[: len(others)].any()


def test_rows_of_trees_and_a_thinned_stand_hold_no_wire() -> None:
    """Crowns in line, and crowns strewn at random, at many returns a crown and at few."""
    row = np.column_stack([np.arange(-50, 51, 4.0), np.zeros(26)])
    strewn = np.random.default_rng(4).uniform(-55, 55, (150, 2))
    for middles in (row, strewn):
        for returns in (8, 150):
            assert not wires_of(np.concatenate([ground(), trees(middles, returns=returns)])).any()


def test_a_narrow_deck_is_no_wire() -> None:
    """A footbridge 2 m wide and 60 m long hangs too, but lets no pulse pass."""
    earth = ground()
    below = (np.abs(earth[:, 1]) < 1) & (np.abs(earth[:, 0]) < 30)
    deck = earth[below] + [0, 0, 6]
    assert not wires_of(np.concatenate([earth[~below], deck])).any()


def test_order_changes_nothing_and_a_far_cut_neither() -> None:
    """Shuffled returns get the same answer, and so do those of a long wire 40 m from where a block ends."""
    cloud = np.concatenate([ground(), wire(110, turn_deg=0)])
    found = wires_of(cloud)
    assert found.sum() > 100
    order = np.random.default_rng(0).permutation(len(cloud))
    assert (wires_of(cloud[order]) == found[order]).all()
    part = cloud[:, 0] < 20
    inner = cloud[part][:, 0] < -20
    assert (wires_of(cloud[part])[inner] == found[part][inner]).all()


def test_nothing_comes_of_nothing() -> None:
    """An empty cloud, bare ground and returns of unknown height hold no wires."""
    assert len(find_wires(Cloud.empty(), np.empty(0, np.float32), np.empty(0, bool), min_height_m=LOWEST_M)) == 0
    assert not wires_of(ground()).any()
    enh = np.concatenate([ground(), wire(80)])
    unknown = np.full(len(enh), np.nan, np.float32)
    assert not find_wires(Cloud.of(enh), unknown, np.ones(len(enh), bool), min_height_m=LOWEST_M).any()
