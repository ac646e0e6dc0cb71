"""What a producer says of structures is believed where the returns stand high enough."""

from __future__ import annotations

import numpy as np

from pipeline.points.classes import classify_returns
from pipeline.points.told import told_structures
from pipeline.returns.asprs import BRIDGE, BUILDING, TOWER, VEGETATION, WIRE
from pipeline.returns.cloud import Cloud
from pipeline.settings import PointsSettings


def test_low_returns_and_other_classes_are_not_believed() -> None:
    """A yard of class 6, a low wire, and vegetation, which heights tell by themselves."""
    classes = np.array([BUILDING, BUILDING, WIRE, WIRE, TOWER, BRIDGE, 5, BUILDING], np.uint8)
    above = np.array([4.0, 0.3, 9.0, 2.0, 20.0, 3.0, 9.0, np.nan], np.float32)
    is_open = np.ones(8, bool)
    expected = [True, False, True, False, True, True, False, False]
    assert told_structures(classes, above, is_open).tolist() == expected
    assert not told_structures(classes, above, ~is_open).any()


def test_a_house_of_a_thin_survey_keeps_the_class_of_its_producer() -> None:
    """Nine returns of a roof, one in 4 m2, are no roof to a filter; with `own` nothing of the producer counts."""
    places = np.arange(0, 60, 2.0)
    east, north = (axis.ravel() for axis in np.meshgrid(places, places))
    is_roof = (np.abs(east - 30) < 3) & (np.abs(north - 30) < 3)
    enh = np.column_stack((east + 5e5, north + 5.6e6, np.where(is_roof, 104.0, 100.0)))
    told = np.where(is_roof, BUILDING, 2).astype(np.uint8)
    cloud = Cloud.of(enh, producer_class=told)
    assert (classify_returns(cloud, settings=PointsSettings()).asprs_class[is_roof] == BUILDING).all()
    own = classify_returns(cloud, settings=PointsSettings(ground_from="own")).asprs_class
    assert np.isin(own[is_roof], (*VEGETATION, 1)).all()
