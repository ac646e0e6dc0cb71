"""The company of a boulder: how many lumps around look half like one, and what that does to its confidence."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from pipeline.features import make_features
from pipeline.lattice.grid import Grid
from pipeline.rock.boulders.company import boulders_per_ha, in_company, lookalikes_per_ha, worth_drawing

GRID = Grid.covering((0, 0, 300, 300), cell_m=1.0, crs="EPSG:25833")
KNOWN = np.ones(GRID.shape, bool)
EVERY_10_M = [(x, y) for x in np.arange(5.0, 300, 10) for y in np.arange(5.0, 300, 10)]


def candidates(places: list[tuple[float, float]], sure: list[float] | float) -> gpd.GeoDataFrame:
    """Candidates of 1.5 m at places."""
    points = [shapely.Point(place) for place in places]
    return make_features(
        points, crs=GRID.crs, symbol="204", confidence=sure, evidence="made", height_m=1.5, width_m=2.0
    )


def test_lookalikes_are_counted_a_hectare_to_the_very_edge() -> None:
    """One every 10 m is 100 a hectare, in the middle and at the edge of what was seen."""
    per_ha = lookalikes_per_ha(candidates(EVERY_10_M, 0.05), KNOWN, GRID)
    middle = [i for i, (x, y) in enumerate(EVERY_10_M) if 100 < x < 200 and 100 < y < 200]
    assert per_ha[middle] == pytest.approx(np.full(len(middle), 100), rel=0.05)
    assert per_ha.min() > 75
    assert per_ha.max() < 115


def test_a_lone_lump_has_no_company() -> None:
    """A candidate does not count itself."""
    assert lookalikes_per_ha(candidates([(150, 150)], 0.1), KNOWN, GRID)[0] < 0.2


def test_a_field_of_sure_boulders_is_no_crowd_of_lookalikes() -> None:
    """Boulders beside boulders do not make each other doubtful: a doubtful one among them is likelier than alone."""
    alone = candidates([(152, 152)], 0.5)
    field = candidates([(152, 152), *EVERY_10_M], [0.5] + [0.9] * len(EVERY_10_M))
    assert lookalikes_per_ha(field, KNOWN, GRID).max() == 0
    assert in_company(field, KNOWN, GRID).confidence.iloc[0] > in_company(alone, KNOWN, GRID).confidence.iloc[0] + 0.02


def test_likely_boulders_are_counted_as_much_as_they_are_likely() -> None:
    """A hundred a hectare that are half sure are fifty, itself not counted, and those that are lookalikes are none."""
    per_ha = boulders_per_ha(candidates(EVERY_10_M, 0.5), KNOWN, GRID)
    middle = [i for i, (x, y) in enumerate(EVERY_10_M) if 140 < x < 160 and 140 < y < 160]
    assert per_ha[middle] == pytest.approx(np.full(len(middle), 50), rel=0.05)
    assert boulders_per_ha(candidates([(150, 150)], 0.9), KNOWN, GRID)[0] < 0.2
    assert boulders_per_ha(candidates(EVERY_10_M, 0.2), KNOWN, GRID).max() == 0


def test_a_boulder_among_lookalikes_is_less_sure() -> None:
    """The same returns are worth less where the floor is full of lumps, and the evidence says so."""
    lone = in_company(candidates([(152, 152)], 0.6), KNOWN, GRID)
    crowd = candidates([(152, 152), *EVERY_10_M], [0.6] + [0.05] * len(EVERY_10_M))
    among = in_company(crowd, KNOWN, GRID)
    assert among.confidence.iloc[0] < 0.8 * lone.confidence.iloc[0]
    assert "100 lumps a hectare" in among.evidence.iloc[0]


def test_the_order_of_candidates_does_not_matter() -> None:
    """Company is a matter of places alone."""
    table = candidates(EVERY_10_M, list(np.linspace(0.02, 0.98, len(EVERY_10_M))))
    one = in_company(table, KNOWN, GRID)
    other = in_company(table.iloc[::-1], KNOWN, GRID).iloc[::-1]
    assert np.array_equal(one.confidence, other.confidence)


def test_the_limit_changes_from_the_open_to_the_thicket() -> None:
    """Whichever of the two is lower; between them it lies between."""
    table = candidates([(0, 0)] * 3, 0.14).assign(lookalikes_per_ha=[0.0, 45.0, 200.0])
    assert worth_drawing(table, least_confidence=0.26, least_thicket_confidence=0.11).index.tolist() == [2]
    assert worth_drawing(table, least_confidence=0.11, least_thicket_confidence=0.26).index.tolist() == [0]
    assert worth_drawing(table, least_confidence=0.11, least_thicket_confidence=0.15).index.tolist() == [0, 1]
