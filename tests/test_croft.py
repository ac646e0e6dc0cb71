"""The draft of an invented farm finds its hedges and walls; what it does not find stands in the figures."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import LineString, box

from pipeline.features import make_features
from tests.benchmarks.croft import Found, measured, score
from tests.croft import make_croft

FARM = 9
"""Seed of a farm that nothing was fitted to."""


def test_the_same_seed_is_the_same_farm() -> None:
    """And another seed is another one."""
    one, again, other = (make_croft(seed=seed, size_m=120.0) for seed in (3, 3, 4))
    assert np.array_equal(one.place.ground.height, again.place.ground.height)
    assert not np.array_equal(one.place.ground.height, other.place.ground.height)
    assert [len(one.lines[kind]) for kind in ("footpath", "lane", "ditch", "hedge", "wall")] == [2, 1, 1, 2, 2]


def test_the_score_tells_found_missed_and_false() -> None:
    """Half of a wall drawn, and as much again where there is none."""
    true = {kind: [LineString([(0, y), (100, y)])] for y, kind in enumerate(("footpath", "lane", "ditch", "hedge"))}
    true["wall"] = [LineString([(0, 50), (100, 50)])]
    lines = [LineString([(0, 50.5), (50, 50.5)]), LineString([(0, 80), (50, 80)])]
    drawn = make_features(lines, crs="EPSG:25832", symbol="513", confidence=0.5, evidence="")
    found = score({"manmade_line": drawn}, true, box(0, 0, 100, 100))
    assert found["wall"].recall == pytest.approx(0.5, abs=0.02)
    assert found["wall"].precision == pytest.approx(0.5, abs=0.02)
    assert found["lane"].recall == 0
    assert Found().recall == Found().precision == 1


@pytest.mark.slow
def test_hedges_and_walls_of_a_farm_are_drawn(tmp_path: Path) -> None:
    """At least six tenths of each, and of what is drawn of hedges and walls as much is right."""
    found = measured(FARM, tmp_path)
    for kind in ("hedge", "wall"):
        assert found[kind].recall >= 0.6, kind
        assert found[kind].precision >= 0.6, kind
