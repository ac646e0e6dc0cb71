"""Ground not seen in the draft."""

import numpy as np
import pytest

from pipeline.landform.draft import draft_landforms
from pipeline.landform.not_seen import draw_not_seen
from pipeline.settings import LandformSettings
from tests import landscape

GRID = landscape.grid_of(side_m=120, cell_m=0.5)


def test_areas_are_as_large_as_the_cells_and_end_at_the_edge_of_the_field() -> None:
    """A disc of 8 m, and the half of it that lies in a field."""
    x, y = landscape.from_middle(GRID)
    unseen = np.hypot(x, y) < 8
    west, south, east, north = GRID.bounds
    whole = draw_not_seen(unseen, GRID)
    half = draw_not_seen(unseen, GRID, core=np.array([west, south, (west + east) / 2, north]))
    assert set(whole.symbol) == {"600.1"}
    assert whole.geometry.area.sum() == pytest.approx(unseen.sum() / 4, rel=0.05)
    assert half.geometry.area.sum() == pytest.approx(whole.geometry.area.sum() / 2, rel=0.05)
    assert not len(draw_not_seen(np.zeros(GRID.shape, np.bool_), GRID))


def test_contours_on_ground_not_seen_are_less_sure(monkeypatch: pytest.MonkeyPatch) -> None:
    """A steep hill of 8 m, 2 m from any return: its contours are less sure than the distance alone would leave them."""
    ground = landscape.plane(GRID, rise_deg=2)
    ground += landscape.bump(GRID, east_m=0, north_m=0, height_m=8, radius_m=12)
    x, y = landscape.from_middle(GRID)
    gap = np.where(np.hypot(x, y) < 20, 2.0, 0.2).astype(np.float32)

    def least_sure() -> float:
        drawn = draft_landforms(ground, gap, 0 * gap, GRID, interval_m=2.5, scale=10000, settings=LandformSettings())
        assert (drawn.symbol == "600.1").any()
        return float(drawn[drawn.symbol.isin(["101", "102"])].confidence.min())

    doubted = least_sure()
    monkeypatch.setattr("pipeline.landform.draft.UNSEEN_TRUST", 1.0)
    assert doubted < 0.8 * least_sure()
