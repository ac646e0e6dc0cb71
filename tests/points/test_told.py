"""Houses that the producer's classes tell of, in surveys too thin for planes."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid, Mask
from pipeline.points.classes import classify_returns
from pipeline.returns.cloud import Cloud
from pipeline.rock.boulders.boulders import find_boulders
from pipeline.settings import PointsSettings

CRS = "EPSG:25832"
SIDE_M = 120.0


def marked_house(per_m2: float) -> tuple[Cloud, Mask]:
    """Level ground, and a house of 9 by 7 m and 4 m high that the producer marks; which returns are on it."""
    rng = np.random.default_rng(4)
    places = rng.uniform(0, SIDE_M, (round(per_m2 * SIDE_M**2), 2))
    on = (np.abs(places - SIDE_M / 2) < (4.5, 3.5)).all(axis=1)
    height = np.where(on, 4.0, 0.0) + 100 + rng.normal(0, 0.02, len(places))
    given: NDArray[np.uint8] = np.where(on, 6, 2).astype(np.uint8)
    return Cloud.of(np.column_stack((places, height)), producer_class=given), on


def test_a_marked_house_of_a_thin_survey_is_a_building_and_no_boulder() -> None:
    """At 0.25 pulses/m2 the producer's word stands: every return of the house is building, and no boulder is there."""
    cloud, on = marked_house(0.25)
    assert on.sum() >= 8
    found = classify_returns(cloud, settings=PointsSettings())
    assert (found.asprs_class[on] == 6).all()
    core = Grid.covering((0, 0, SIDE_M, SIDE_M), cell_m=1.0, crs=CRS)
    assert find_boulders(cloud, found.asprs_class, found.height_above_m, core).empty


@pytest.mark.parametrize("per_m2", [4.0, 16.0])
def test_where_planes_can_be_drawn_the_mark_decides_nothing(per_m2: float) -> None:
    """A block 2.6 m across that the producer calls building is too small for a roof, and is none of ours."""
    cloud, _ = marked_house(per_m2)
    enh = cloud.enh.copy()
    block = np.hypot(*(enh[:, :2] - 20).T) < 1.3
    enh[block, 2] += 2.0
    given = np.where(block, 6, cloud.producer_class).astype(np.uint8)
    found = classify_returns(Cloud.of(enh, producer_class=given), settings=PointsSettings())
    assert block.sum() >= 15
    assert not (found.asprs_class[block] == 6).any()


def test_grass_under_a_wrong_mark_is_no_building() -> None:
    """Returns at less than a metre above the ground stay what they are, whatever the mark."""
    cloud, on = marked_house(0.25)
    enh = cloud.enh.copy()
    enh[on, 2] -= 3.6
    given = np.where(on, 6, 2).astype(np.uint8)
    found = classify_returns(Cloud.of(enh, producer_class=given), settings=PointsSettings())
    assert not (found.asprs_class[on] == 6).any()
