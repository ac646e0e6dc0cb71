"""The sentence and the likelihood of an area follow from the counts within it."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.lattice.grid import Grid
from pipeline.vegetation.areas.evidence import Running, describe_areas, measure_areas

GRID = Grid("EPSG:25832", 0, 40, 1.0, 40, 40)
LIMITS = (0.1, 0.4, 0.9)


def described(
    symbol: str,
    *,
    density: float = 0.2,
    low: float = 0.0,
    growth_ratio: float = 0.0,
    visibility_bottom_m: float = 1.0,
) -> tuple[str, float]:
    """Sentence and confidence of an area of 1600 m2 with four pulses/m2, a quarter of them stopped above eye height."""
    names = ("entered", "growth", "growth_height_sum_m", "pulses", "tree_pulses", "stopped_visibility")
    profile = {name: np.zeros(GRID.shape, np.float32) for name in names}
    profile["pulses"] += 4
    profile["entered"] += 4
    profile["stopped_visibility"] += 1
    profile["growth"] += 4 * growth_ratio
    profile["growth_height_sum_m"] += 4 * growth_ratio * 0.3
    sums = measure_areas(
        np.ones(GRID.shape, np.int32),
        1,
        Running(*(np.full(GRID.shape, value, np.float32) for value in (density, low, 0.02))),
        profile,
    )
    sentences, confidence = describe_areas(
        [symbol],
        sums,
        limits=LIMITS,
        rough_growth_ratio=0.1,
        visibility_bottom_m=visibility_bottom_m,
    )
    return sentences[0], float(confidence[0])


def test_green_is_surest_in_the_middle_of_its_band() -> None:
    """At a limit either band is as likely; in the middle of 406, on a logarithmic scale, hardly any other."""
    assert described("406", density=0.2)[1] > 0.85
    assert described("406", density=0.4)[1] == pytest.approx(0.5, abs=0.02)
    # 408 is so narrow that 410 takes a little of it too.
    assert described("408", density=0.4)[1] == pytest.approx(0.5, abs=0.04)
    assert described("410", density=0.2)[1] == pytest.approx(0.05)


def test_growth_below_eye_height_is_less_sure() -> None:
    """Whether heather of half a metre slows a runner, two mappers judge in two ways."""
    assert described("407", low=0.2)[1] < described("406", low=0.0)[1] - 0.1


def test_rough_and_even_open_land_are_surest_far_from_where_they_meet() -> None:
    """At the share of growth that divides them neither is likelier."""
    assert [described(symbol, growth_ratio=0.1)[1] for symbol in ("401", "403")] == pytest.approx([0.5, 0.5], abs=0.01)
    assert described("403", growth_ratio=0.3)[1] > 0.9 > described("401", growth_ratio=0.3)[1]


def test_the_sentence_says_what_was_counted() -> None:
    """Density, pulses and the view of green; growth and its height of open land."""
    green, _ = described("406", visibility_bottom_m=1.2)
    assert green == "plant-area density 0.20 m2/m3, 6400 pulses entered the running layer, 25% stopped above 1.2 m"
    assert described("403", growth_ratio=0.25)[0] == "0% tree cover, growth 0.3 m high met by 25% of pulses"


def test_no_area_needs_no_sentence() -> None:
    """Nothing in, nothing out."""
    sentences, confidence = describe_areas(
        [],
        {},
        limits=LIMITS,
        rough_growth_ratio=0.1,
        visibility_bottom_m=1.0,
    )
    assert sentences == []
    assert len(confidence) == 0
