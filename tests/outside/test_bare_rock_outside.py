"""Bare rock against the norm: what it may be, and how small."""

import numpy as np
import pytest
import shapely

from pipeline.norm.paper import ground_m
from tests.paths import symbols
from tests.rock.ground.test_bare_rock import HILL, LUMPS, PLANTS, counts_of, drawn, inside

LEAST_MM = (1.0, 1.0)
"""Least area of symbol 214. Source: IOF Map Commission, O-Map Wiki, page of ISOM 2017-2 symbol 214: 1 mm x 1 mm, on
the ground 15 m x 15 m at 1:15 000."""


def test_the_least_area_is_the_norms() -> None:
    """225 m2, in the symbol table."""
    least_m2 = ground_m(LEAST_MM[0]) * ground_m(LEAST_MM[1])
    assert least_m2 == 225
    assert symbols()["214"].smallest.area_m2 == pytest.approx(least_m2)
    assert symbols()["214"].figures["min_area_mm2"].value == pytest.approx(LEAST_MM[0] * LEAST_MM[1])


@pytest.mark.parametrize("side_m", [8.0, 11.0, 12.0, 18.0, 25.0, 40.0])
def test_nothing_smaller_than_the_norm_allows_is_drawn(side_m: float) -> None:
    """Squares well below 15 m are left out, those above it are drawn, and what is drawn has the least area."""
    rock = inside(shapely.box(60 - side_m / 2, 60 - side_m / 2, 60 + side_m / 2, 60 + side_m / 2))
    found = drawn(counts_of(rock, 0.35 * PLANTS), HILL + LUMPS * rock)
    assert len(found) == (1 if side_m > 15 else 0)
    assert np.all(found.area >= 225)


def test_rock_under_plants_is_never_214() -> None:
    """The norm's 214 is rock without soil or plants (O-Map Wiki, 214): no share of vegetated ground is drawn."""
    rock = inside(shapely.box(40, 40, 60, 80))
    mossy = inside(shapely.box(60, 40, 80, 80))
    counts = counts_of(rock | mossy, 0.35 * PLANTS)
    for name in ("lone_ground_returns", "lone_ground_intensity_sum"):
        counts[name] = np.where(mossy, counts[name] / 2, counts[name])
    found = drawn(counts, HILL + LUMPS * (rock | mossy))
    assert len(found) == 1
    assert found.geometry.iloc[0].bounds[2] <= 60 + 3
