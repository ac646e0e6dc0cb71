"""Rock on ground that was hardly seen."""

import numpy as np
import pytest
import shapely

from pipeline.features import make_features
from pipeline.lattice.grid import Grid
from pipeline.rock.draft import draft_rock
from pipeline.rock.on_unseen import less_sure
from pipeline.settings import RockSettings

GRID = Grid.covering((0, 0, 80, 80), cell_m=0.5, crs="EPSG:25833")


def test_confidence_falls_with_the_share_on_unseen_ground() -> None:
    """Off it, on it, and a line that lies half on it and half off it, of whose loss a quarter is left."""
    unseen = np.zeros(GRID.shape, np.bool_)
    unseen[:, :80] = True
    shapes = [shapely.Point(60, 40), shapely.Point(20, 40), shapely.LineString([(30, 10), (50, 10)])]
    features = make_features(shapes, crs=GRID.crs, symbol=["204", "204", "201"], confidence=0.8, evidence="made")
    lowered = less_sure(features, unseen, GRID)
    np.testing.assert_allclose(lowered.confidence, [0.8, 0.4, 0.7], atol=0.02)
    assert ["hardly seen" in text for text in lowered.evidence] == [False, True, True]
    assert less_sure(features, ~unseen & unseen, GRID).equals(features)


@pytest.mark.parametrize(("is_unseen", "sure"), [(False, 1.0), (True, 0.5)])
def test_a_cliff_and_a_boulder_are_drawn_as_unsure_as_their_ground(
    monkeypatch: pytest.MonkeyPatch, is_unseen: bool, sure: float
) -> None:
    """A face of 10 m, as clear as can be, and a boulder that nothing but the ground speaks against."""
    y = GRID.centres()[1][:, None]
    ground = np.broadcast_to(100 + 10 * np.clip((y - 40) / 3, 0, 1), GRID.shape).astype(np.float32)
    boulder = make_features(
        [shapely.Point(40, 15)],
        crs=GRID.crs,
        symbol="204",
        confidence=0.9999,
        evidence="made",
        height_m=1.5,
        width_m=2.0,
        elevation_m=100.0,
    )
    monkeypatch.setattr("pipeline.rock.draft.hardly_seen", lambda *_: np.full(GRID.shape, is_unseen))
    # Nothing is left out, so that what is less sure is seen.
    settings = RockSettings(least_cliff_confidence=0.0, least_boulder_confidence=0.0, least_thicket_confidence=0.0)
    gap = np.full(GRID.shape, 0.2, np.float32)
    found = draft_rock(boulder, ground, gap, 0 * gap, GRID, settings=settings).set_index("symbol")
    assert found.loc[["201", "204"]].confidence.to_list() == pytest.approx([sure, sure], abs=0.01)
    assert found.loc[["201", "204"]].evidence.str.contains("hardly seen").eq(is_unseen).all()
