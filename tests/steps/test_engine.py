"""Which ground filter the settings choose."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.errors import SurveyError
from pipeline.points.ground.ground import find_ground
from pipeline.settings import PointsSettings
from pipeline.steps.block.reading import engine
from tests.terrain_clouds import returns_from, slope_of


def hall() -> np.ndarray:
    """Returns of a level place with a hall of 24 m x 24 m, 8 m high."""
    enh = returns_from(slope_of(0.0), 60, per_m2=2)
    enh[(abs(enh[:, :2] - 30) < 12).all(axis=1), 2] += 8.0
    return enh


@pytest.mark.parametrize("window_m", [24.0, 4.0])
def test_the_embedded_filter_gets_the_window_of_the_settings(window_m: float) -> None:
    """A window wider than the hall takes it off, a narrower one does not: the setting reaches the filter."""
    enh, every = hall(), np.ones(7200, bool)
    found = engine(PointsSettings(ground_window_m=window_m))(enh, every)
    assert np.array_equal(found, find_ground(enh, every, window_m=window_m, plant_m=0.05))
    assert found[enh[:, 2] > 105].any() == (window_m < 12)


def test_pdal_is_asked_when_the_settings_say_so() -> None:
    """A command that is not there is asked for, and not silently replaced by the embedded filter."""
    enh = hall()
    with pytest.raises(SurveyError, match="no-such-pdal"):
        engine(PointsSettings(engine="pdal", pdal_command="no-such-pdal"))(enh, np.ones(len(enh), bool))
