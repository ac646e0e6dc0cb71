"""The ground against labelled data and filters from outside the project."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import numpy as np
import pytest

from pipeline.errors import SurveyError
from pipeline.files.pdal import ground_by_pdal
from pipeline.points.classes import embedded
from pipeline.settings import PointsSettings
from tests.benchmarks.ground import engines, isprs_of, scene
from tests.terrain_clouds import returns_from, slope_of

needs_data = pytest.mark.skipif("TUSSOCK_DATA" not in os.environ, reason="TUSSOCK_DATA names no measuring data")
PDAL = os.environ.get("TUSSOCK_PDAL") or shutil.which("pdal")
needs_pdal = pytest.mark.skipif(PDAL is None, reason="neither TUSSOCK_PDAL nor PATH has a PDAL command")


@needs_data
@pytest.mark.data
@pytest.mark.slow
def test_isprs_filter_test() -> None:
    """One parameter set on ten samples of the ISPRS filter test (Sithole and Vosselman 2004).

    Below the 4.40 % that Pingel et al. (2013) publish for SMRF with one parameter set on all fifteen.
    """
    table = isprs_of(engines()["embedded"], Path(os.environ["TUSSOCK_DATA"]))
    assert table[:, 2].mean() <= 3.5
    assert table[:, 3].mean() >= 88.8


@needs_data
@pytest.mark.data
@pytest.mark.slow
def test_scenes_with_known_bare_earth() -> None:
    """Invented terrain under a pulse model that is not ours: ground and surface against the truth."""
    data = Path(os.environ["TUSSOCK_DATA"])
    for folder, kappa, rmse_m, dense_m in (("scene_a", 0.985, 0.08, 0.13), ("scene_b", 0.975, 0.06, 0.08)):
        figures = scene(data / folder)
        assert figures["kappa"] >= kappa
        assert figures["dem_rmse_m"] <= rmse_m
        assert figures["dem_rmse_dense_m"] <= dense_m
        assert figures["dem_p99_m"] <= 0.25


@needs_pdal
@pytest.mark.pdal
def test_pdal_and_ours_agree_on_a_plain_place() -> None:
    """A house and bushes on a slope: PDAL's SMRF and the embedded filter differ on less than 3 % of the returns."""
    enh = returns_from(slope_of(0.1), 80, per_m2=4)
    enh[(abs(enh[:, :2] - 40) < 7).all(axis=1), 2] = 112.0
    enh[::9, 2] += 1.5
    every = np.ones(len(enh), bool)
    theirs = ground_by_pdal(enh, every, settings=PointsSettings(pdal_command=str(PDAL)))
    assert (theirs != embedded(PointsSettings())(enh, every)).mean() < 0.03


def test_missing_pdal_is_said_plainly() -> None:
    """Without the command there is one message: what is missing and what to do."""
    enh = returns_from(slope_of(0), 10)
    with pytest.raises(SurveyError, match=r"no-such-pdal.*points\.engine to embedded"):
        ground_by_pdal(enh, np.ones(len(enh), bool), settings=PointsSettings(pdal_command="no-such-pdal"))
