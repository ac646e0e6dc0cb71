"""Where the question how it runs can be answered."""

from __future__ import annotations

import numpy as np
import shapely

from pipeline.features import make_features
from pipeline.lattice.grid import Grid
from pipeline.vegetation.calibration.askable import AWAY_M, askable_by_draft, askable_ground
from pipeline.vegetation.calibration.next_notes import where_notes_teach

GRID = Grid.covering((0.0, 0.0, 200.0, 100.0), cell_m=1.0, crs="EPSG:25832")
DENSITY = np.full(GRID.shape, 0.12, np.float32)
OPEN = shapely.box(120, 0, 200, 100)


def test_edges_and_open_land_are_left_out() -> None:
    """Every place keeps its distance from the edge of the area and from open land; the middle of the wood is asked."""
    found = askable_ground(DENSITY, GRID, area=shapely.box(0, 0, 200, 100), no_forest=[OPEN])
    rows, cols = np.nonzero(found)
    east, north = GRID.centres()
    assert found.any()
    assert east[cols].min() > AWAY_M - 1
    assert east[cols].max() < 120 - AWAY_M + 1
    assert north[rows].min() > AWAY_M - 1


def test_an_island_cannot_be_reached() -> None:
    """A lake cuts a corner of the wood off; over open land one walks."""
    lake = shapely.box(60, 0, 64, 100)
    assert askable_ground(DENSITY, GRID, no_forest=[lake], barriers=[lake])[50, 30] == np.False_
    assert askable_ground(DENSITY, GRID, no_forest=[lake])[50, 30] == np.True_


def test_steep_and_unseen_ground_is_not_asked() -> None:
    """A face of 50 degrees, and cells that the survey did not see."""
    slope, density = np.full(GRID.shape, 5.0, np.float32), DENSITY.copy()
    slope[:, 100:] = 50.0
    density[:50] = np.nan
    found = askable_ground(density, GRID, slope_deg=slope)
    assert found[60, 50]
    assert not found[:, 100:].any()
    assert not found[:50].any()


def test_the_next_notes_are_asked_where_they_can_be_answered() -> None:
    """With the same density all over, places fall on open land unless it is left out."""
    limits = (0.1, 0.4, 0.9)
    args = {"limits": limits, "spread": 0.35, "most_places": 4}
    known = np.array([[30.0, 50.0]])
    free = where_notes_teach(DENSITY, GRID, known, **args)
    asked = where_notes_teach(DENSITY, GRID, known, askable=askable_ground(DENSITY, GRID, no_forest=[OPEN]), **args)
    assert free.within(OPEN).any()
    assert not asked.within(OPEN.buffer(AWAY_M - 1)).any()


def test_a_draft_with_an_empty_layer_is_asked_as_one_with_none() -> None:
    """Open land of the draft is left out, a candidate is not, and a layer without features counts nothing."""
    land = make_features([OPEN], crs=GRID.crs, symbol="401", confidence=0.9, evidence="grass").assign(status="draft")
    area = shapely.box(0, 0, 200, 100)
    found = askable_by_draft(DENSITY, GRID, area, [land, land.head(0)], slope_deg=None)
    assert np.array_equal(found, askable_ground(DENSITY, GRID, area=area, no_forest=[OPEN]))
    proposed = askable_by_draft(DENSITY, GRID, area, [land.assign(status="candidate")], slope_deg=None)
    assert proposed[50, 150]
    assert not found[50, 150]
