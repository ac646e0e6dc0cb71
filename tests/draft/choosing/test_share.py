"""Boulders that together would be too doubtful."""

import geopandas as gpd
import numpy as np
import pytest
from shapely.geometry import Point

from pipeline.draft.choosing.share import AROUND_M, SURER_BY, mostly_sure
from pipeline.draft.choosing.status import Limits
from pipeline.features import make_features


def boulders(places: list[tuple[float, float]], sure: list[float], symbol: str = "204") -> gpd.GeoDataFrame:
    """Boulders that are drawn."""
    points = [Point(place) for place in places]
    made = make_features(points, crs="EPSG:25832", symbol=symbol, confidence=sure, evidence="seen")
    return made.assign(status="draft")


def drawn(table: gpd.GeoDataFrame, limits: Limits | None = None) -> list[bool]:
    """Which are drawn in the end."""
    return (mostly_sure(table, limits or Limits())["status"] == "draft").to_list()


def test_doubtful_boulders_by_themselves_are_candidates() -> None:
    """Ten at 0.6 would be four wrong dots; they say why they are not drawn. Knolls are left alone."""
    places = [(20.0 * n, 0.0) for n in range(10)]
    table = boulders(places, [0.6] * 10)
    found = mostly_sure(table, Limits())
    assert set(found["status"]) == {"candidate"}
    assert set(found["evidence"]) == {"seen; too few surer boulders around"}
    assert all(drawn(boulders(places, [0.6] * 10, "109")))


def test_a_sure_boulder_carries_as_many_doubtful_ones_as_it_is_surer() -> None:
    """One of 1.0 fills what two of 0.6 lack, and half of the lack of no third; the likeliest come first."""
    table = boulders([(0, 0), (30, 0), (60, 0), (90, 0), (120, 0)], [0.6, 1.0, 0.55, 0.65, 0.6])
    # 0.3 of surplus: 0.05 and 0.1 and 0.1 are filled, 0.15 is not.
    assert drawn(table) == [True, True, False, True, True]


def test_surplus_far_away_does_not_count() -> None:
    """Nor is it used twice: two doubtful ones on either side of a sure one share what it has."""
    assert drawn(boulders([(0, 0), (AROUND_M - 1, 0)], [1.0, 0.5])) == [True, True]
    assert drawn(boulders([(0, 0), (AROUND_M + 1, 0)], [1.0, 0.5])) == [True, False]
    assert sum(drawn(boulders([(0, 0), (AROUND_M - 1, 0), (1 - AROUND_M, 0)], [1.0, 0.5, 0.5]))) == 2


@pytest.mark.parametrize("seed", range(5))
def test_the_drawn_ones_are_as_sure_as_asked(seed: int) -> None:
    """For boulders anywhere, and whatever limit a mapper sets; a wish for more of them draws more."""
    rng = np.random.default_rng(seed)
    sure = rng.uniform(0.3, 1.0, 200)
    places = [tuple(place) for place in rng.uniform(0, 1500, (200, 2)).tolist()]
    counts = []
    for least in (0.5, 0.3):
        is_sure = sure >= least
        table = boulders([place for place, keep in zip(places, is_sure, strict=True) if keep], list(sure[is_sure]))
        kept = np.array(drawn(table, Limits(least)))
        counts.append(kept.sum())
        assert kept.sum() > 0
        assert sure[is_sure][kept].sum() >= (least + SURER_BY) * kept.sum() - 1e-9
    assert counts[1] > counts[0]


def test_no_boulders_are_no_trouble() -> None:
    """An empty draft stays one."""
    assert mostly_sure(boulders([], []), Limits()).empty
