"""The mosaic of cells is quieted, and its strips are widened or given away before edges are drawn."""

from __future__ import annotations

import numpy as np

from pipeline.vegetation.areas.discs import discs_of, narrow_cells, steps_from_broad
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS
from pipeline.vegetation.areas.merging import Kinds
from pipeline.vegetation.areas.mosaic import limits_of_areas
from pipeline.vegetation.areas.quieting import quieted
from pipeline.vegetation.areas.widths import with_least_widths

WALK, FIGHT = AREA_SYMBOLS.index("408"), AREA_SYMBOLS.index("410")


def strip(high: int, kind: int = WALK) -> Kinds:
    """A strip across a field of white forest, 60 x 60 cells."""
    kinds = np.zeros((60, 60), np.int16)
    kinds[30 : 30 + high, 8:52] = kind
    return kinds


def test_a_strip_of_the_least_width_is_broad_and_a_narrower_one_is_not() -> None:
    """408 is at least 4.5 m wide: five cells of a metre."""
    discs = discs_of(1.0)
    assert discs.n_cells[WALK] == 5
    assert not narrow_cells(strip(5), discs)[32, 12:48].any()
    assert narrow_cells(strip(4), discs).sum() == 4 * 44
    # Hatched growth and white forest may be as narrow as they like.
    assert not narrow_cells(strip(1, AREA_SYMBOLS.index("409")), discs).any()


def test_the_way_from_broad_ground_is_measured_within_the_area() -> None:
    """Ten cells along a strip that hangs on a broad part; infinite where nothing is broad."""
    kinds = strip(2)
    kinds[20:42, 8:30] = WALK
    narrow = narrow_cells(kinds, discs_of(1.0))
    away = steps_from_broad(kinds, narrow)
    assert away[30, 39] == 10
    assert np.isinf(steps_from_broad(strip(2), narrow_cells(strip(2), discs_of(1.0)))[30, 20])


def test_a_strip_is_widened_where_the_field_bears_it_and_given_away_where_not() -> None:
    """By itself the ground around the first is walk as well; around the second it is white."""
    limits = limits_of_areas()
    around = strip(4)
    around[28:36, 8:52] = WALK
    wide = with_least_widths(strip(4), evidence=around, limits=limits, cell_m=1.0)
    assert (wide == WALK).sum() > 5 * 40
    assert narrow_cells(wide, discs_of(1.0)).sum() < 20
    thread = with_least_widths(strip(1), evidence=np.zeros((60, 60), np.int16), limits=limits, cell_m=1.0)
    assert not (thread == WALK).any()


def test_single_cells_of_another_band_go_and_straight_edges_stay() -> None:
    """Open land keeps its cells, whatever is around them."""
    kinds = np.zeros((20, 20), np.int16)
    kinds[:, 10:] = WALK
    kinds[4, 4] = FIGHT
    kinds[12, 4] = AREA_SYMBOLS.index("401")
    kinds[0, 0] = -1
    found = quieted(kinds, limits_of_areas().loss)
    assert found[4, 4] == 0
    assert found[12, 4] == AREA_SYMBOLS.index("401")
    assert found[0, 0] == -1
    assert (found[:, :8][kinds[:, :8] == 0] == 0).all()
    assert (found[:, 12:] == WALK).all()
