"""Roofs told from crowns, boulders, slopes and bridges, on shapes of known place."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.lattice.grid import Mask
from pipeline.points.roofs.roofs import find_roofs
from pipeline.returns.cloud import Cloud
from pipeline.settings import RoofSettings

SMALLEST_M2 = RoofSettings().min_patch_m2
EAST, NORTH = 500_000.0, 5_600_000.0
Numbers = NDArray[np.float64]


def pulses(per_m2: float, *, side_m: float = 40.0, seed: int = 5) -> tuple[Numbers, Numbers]:
    """Places of pulses strewn over a square about the origin."""
    rng = np.random.default_rng(seed)
    n = round(per_m2 * side_m**2)
    return rng.uniform(-side_m / 2, side_m / 2, n), rng.uniform(-side_m / 2, side_m / 2, n)


def turned(x: Numbers, y: Numbers, *, turn_deg: float) -> tuple[Numbers, Numbers]:
    """Places in the frame of a building turned by an angle."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return x * c + y * s, y * c - x * s


def gable(x: Numbers, y: Numbers, *, long_m: float, wide_m: float, turn_deg: float = 25.0) -> tuple[Numbers, Mask]:
    """Heights of a house with eaves at 3 m and a roof of 40 degrees, 0 outside; and what is on it."""
    a, b = turned(x, y, turn_deg=turn_deg)
    on = (np.abs(a) < long_m / 2) & (np.abs(b) < wide_m / 2)
    return np.where(on, 3 + np.tan(np.radians(40)) * (wide_m / 2 - np.abs(b)), 0.0), on


def seen(x: Numbers, y: Numbers, above: Numbers, *, base: Numbers | float = 0.0, noise_m: float = 0.03) -> Cloud:
    """A cloud of single returns at heights above a base, with the noise of a survey."""
    noise = np.random.default_rng(8).normal(0, noise_m, len(x))
    return Cloud.of(np.column_stack([x + EAST, y + NORTH, base + above + noise + 250]))


def roofs_of(cloud: Cloud, above: Numbers, min_patch_m2: float = SMALLEST_M2) -> Mask:
    """What is found when everything above 0.3 m is a candidate."""
    return find_roofs(cloud, above.astype(np.float32), above > 0.3, min_patch_m2=min_patch_m2)


def crowns(x: Numbers, y: Numbers, *, seed: int = 3) -> Numbers:
    """Heights of last returns in a closed stand: crowns of 5 m every 4 m, pulses ending up to 4 m within them."""
    rng = np.random.default_rng(seed)
    gap = np.hypot((x + 2) % 4 - 2, (y + 2) % 4 - 2)
    return 12 - gap**2 / 2 - rng.exponential(1.5, len(x)).clip(0, 4)


@pytest.mark.parametrize("per_m2", [2, 4, 16, 80])
@pytest.mark.parametrize("turn_deg", [0.0, 25.0])
def test_a_gable_roof_is_found_to_its_eaves(per_m2: float, turn_deg: float) -> None:
    """Nearly all returns of a house and hardly one beside it, whatever the density and the direction."""
    x, y = pulses(per_m2)
    above, on = gable(x, y, long_m=12, wide_m=8, turn_deg=turn_deg)
    found = roofs_of(seen(x, y, above), above)
    assert found[on].mean() > 0.95
    assert not found[~on].any()


def test_a_shed_of_five_metres_is_found_and_one_of_three_is_not() -> None:
    """The smallest roof has 15 m2."""
    x, y = pulses(10)
    shares = []
    for side_m in (5.0, 3.0):
        on = (np.abs(x) < side_m / 2) & (np.abs(y) < side_m / 2)
        above = np.where(on, 2.8, 0.0)
        shares.append(roofs_of(seen(x, y, above), above)[on].mean())
    assert shares[0] > 0.95
    assert shares[1] == 0


def test_a_chimney_belongs_to_its_roof_and_a_tree_above_does_not() -> None:
    """A block of 1 m2 on the ridge is roof; returns 4 to 9 m above the other end are not."""
    x, y = pulses(20)
    above, on = gable(x, y, long_m=14, wide_m=8, turn_deg=0)
    chimney = (np.abs(x - 3) < 0.5) & (np.abs(y) < 0.5)
    above[chimney] += 1.2
    tree = np.hypot(x + 7, y + 3) < 2.5
    above[tree] = 9 + np.random.default_rng(1).uniform(0, 5, int(tree.sum()))
    found = roofs_of(seen(x, y, above), above)
    assert found[chimney].mean() > 0.8
    assert not found[tree].any()
    assert found[on & ~tree & ~chimney].mean() > 0.9


def test_crowns_and_bushes_are_no_roofs() -> None:
    """A closed stand in which no pulse reaches the ground holds no roof, nor does a clipped rough hedge."""
    x, y = pulses(8)
    for above in (crowns(x, y), np.where(np.abs(y) < 3, 2.5 + np.random.default_rng(2).normal(0, 0.3, len(x)), 0.0)):
        assert not roofs_of(seen(x, y, above), above).any()


def test_a_flat_topped_boulder_is_no_roof_and_a_hut_as_large_is() -> None:
    """A block 6 m across and 4 m high is round; a square hut of the same height and area is not."""
    x, y = pulses(10)
    block = np.where(np.hypot(x, y) < 3, 4.0, 0.0)
    hut = np.where((np.abs(x) < 2.66) & (np.abs(y) < 2.66), 4.0, 0.0)
    assert not roofs_of(seen(x, y, block), block).any()
    assert roofs_of(seen(x, y, hut), hut)[hut > 0].mean() > 0.9


def test_a_long_humped_boulder_is_no_roof_and_huts_with_saddle_and_tent_roofs_are() -> None:
    """Rock 8 by 4 m, too long to be round, falls off along both axes; a roof has a level ridge, or corners."""
    x, y = pulses(10)
    hump = 3.8 * np.sqrt(np.clip(1 - (x / 4) ** 2 - (y / 2) ** 2, 0, None))
    plan = (np.abs(x) < 4) & (np.abs(y) < 2.5)
    saddle = np.where(plan, 3.8 - 0.5 * np.abs(y), 0.0)
    tent = np.where(plan, 2.6 + 0.4 * np.minimum(4 - np.abs(x), 2.5 - np.abs(y)), 0.0)
    assert not roofs_of(seen(x, y, hump), hump).any()
    for roof in (saddle, tent):
        assert roofs_of(seen(x, y, roof), roof)[plan].mean() > 0.8


def test_a_bank_that_the_ground_filter_shaved_off_is_no_roof() -> None:
    """A smooth slope that low returns carry on at its edge is ground; the same plane ending in a drop is a roof."""
    x, y = pulses(10)
    slope = 0.2 * x
    patch = np.hypot(x, y) < 5
    shaved = np.where(patch, 2.5, 0.0)
    level = np.full(len(x), 0.0)
    assert not roofs_of(seen(x, y, level, base=slope), shaved).any()
    assert roofs_of(seen(x, y, shaved, base=slope), shaved)[patch].mean() > 0.9


def test_what_the_producer_called_bridge_is_left_out() -> None:
    """A deck of class 17 is no roof, though smooth and high."""
    x, y = pulses(10)
    on = np.abs(y) < 3
    above = np.where(on, 6.0, 0.0)
    cloud = seen(x, y, above)
    marked = Cloud.of(cloud.enh, producer_class=np.where(on, 17, 1).astype(np.uint8))
    assert roofs_of(cloud, above).any()
    assert not roofs_of(marked, above).any()


def test_a_net_of_leaves_that_pulses_pass_is_no_roof() -> None:
    """A smooth layer through which four of ten pulses reach the ground is foliage."""
    x, y = pulses(20)
    passes = np.random.default_rng(4).random(len(x)) < 0.4
    above = np.where((np.abs(x) < 6) & (np.abs(y) < 6) & ~passes, 5.0, 0.0)
    assert not roofs_of(seen(x, y, above), above).any()


def test_order_and_whole_cells_of_shift_change_nothing() -> None:
    """Shuffled returns, and returns moved by whole cells, get the same answer."""
    x, y = pulses(6)
    above, _ = gable(x, y, long_m=12, wide_m=8)
    cloud = seen(x, y, above)
    found = roofs_of(cloud, above)
    order = np.random.default_rng(0).permutation(len(x))
    assert (roofs_of(cloud.take(order), above[order]) == found[order]).all()
    moved = Cloud.of(cloud.enh + np.array([32.0, -64.0, 16.0]))
    assert (roofs_of(moved, above) == found).all()


def test_a_house_cut_by_the_rim_of_a_block_is_the_same_house() -> None:
    """What lies 10 m from the cut is told alike, whether the rest of the house is seen or not."""
    x, y = pulses(6)
    above, on = gable(x, y, long_m=30, wide_m=9)
    cloud = seen(x, y, above)
    whole = roofs_of(cloud, above)
    part = x < 4
    cut = roofs_of(cloud.take(part), above[part])
    inner = x[part] < -6
    assert (on & part).sum() > 500
    assert (cut[inner] == whole[part][inner]).all()


def test_nothing_comes_of_nothing() -> None:
    """An empty cloud and bare ground have no roofs, nor have returns of unknown height."""
    assert len(find_roofs(Cloud.empty(), np.empty(0, np.float32), np.empty(0, bool), min_patch_m2=SMALLEST_M2)) == 0
    x, y = pulses(4)
    assert not roofs_of(seen(x, y, np.zeros(len(x))), np.zeros(len(x))).any()
    above, _ = gable(x, y, long_m=12, wide_m=8)
    unknown = np.full(len(x), np.nan, np.float32)
    assert not find_roofs(seen(x, y, above), unknown, np.ones(len(x), bool), min_patch_m2=SMALLEST_M2).any()
