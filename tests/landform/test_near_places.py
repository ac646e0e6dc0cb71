"""Places of lines near to each other, held against a slower way to find them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from pipeline.landform.lines.near_places import near_pairs


@pytest.mark.parametrize("seed", range(8))
def test_pairs_are_those_a_tree_of_all_places_finds(seed: int) -> None:
    """Judge: SciPy's tree, whose pairs are then weighed one by one. Lines wander, meet themselves and each other."""
    random = np.random.default_rng(seed)
    n_lines, each, apart_m = 12, 150, 4.0
    turns = np.cumsum(random.normal(0, 0.35, (n_lines, each)), axis=1)
    starts = random.uniform(0, 60, (n_lines, 1, 2)) + 4e5
    places = (starts + np.cumsum(np.stack([np.cos(turns), np.sin(turns)], axis=2), axis=1)).reshape(-1, 2)
    line = np.repeat(np.arange(n_lines), each)
    along_m = np.tile(np.arange(each, dtype=float), n_lines)
    around_m = np.where(random.random(n_lines) < 0.5, float(each), np.inf)[line]
    group = random.integers(0, 3, n_lines)[line]
    first, second = near_pairs(places, line, along_m, around_m, group, apart_m=apart_m)

    one, other = cKDTree(places).query_pairs(apart_m, output_type="ndarray").T
    way_m = np.abs(along_m[one] - along_m[other])
    on_one_line = (line[one] == line[other]) & (np.minimum(way_m, around_m[one] - way_m) <= 3 * apart_m)
    counts = (group[one] == group[other]) & ~on_one_line
    expected = set(zip(one[counts].tolist(), other[counts].tolist(), strict=True))
    assert len(expected) > 100
    assert sorted(zip(first.tolist(), second.tolist(), strict=True)) == sorted(expected)


def test_no_places_make_no_pairs() -> None:
    """An area without contours has none that come near."""
    none = np.empty(0, np.int64)
    first, second = near_pairs(np.empty((0, 2)), none, np.empty(0), np.empty(0), none, apart_m=4.0)
    assert len(first) == len(second) == 0
