"""What a mapper is warned of before trusting a draft."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from pipeline.intake.tile_crs import TileCrs
from pipeline.intake.tile_header import TileHeader
from pipeline.points.flight_lines import LineOffset
from pipeline.returns.cloud import Cloud
from pipeline.survey.cautions import cautions_of
from pipeline.survey.measure import Flight
from pipeline.survey.sample.sample import sample_of

HEADER = TileHeader(
    path=Path("a.laz"), version="1.4", point_format=6, n_points=1000, n_by_return=(), record_bytes=30,
    points_offset=375, scales=(0.01, 0.01, 0.01), offsets=(0.0, 0.0, 0.0), bounds=(0.0, 0.0, 1.0, 1.0), lowest=0.0,
    highest=1.0, crs=TileCrs(), time_kind="adjusted", has_synthetic_returns=False, is_compressed=True, is_copc=False,
    n_bytes=1, system="", software="", written=None,
)  # fmt: skip
FLIGHT = Flight((), "", "unknown", 2, None)


def cloud_of(n: int = 1000, *, n_returns: int = 2, n_overlap: int = 0) -> Cloud:
    """Pulses of two returns that say they are `n_returns`, the first `n_overlap` points marked as overlap."""
    places = np.random.default_rng(1).uniform(0, 50, (n, 3))
    number = (np.arange(n) % 2 + 1).astype(np.uint8)
    total = np.full(n, n_returns, np.uint8)
    return dataclasses.replace(
        Cloud.of(places, return_number=number, n_returns=total), is_overlap=np.arange(n) < n_overlap
    )


def cautions(cloud: Cloud, *, header: TileHeader = HEADER, flight: Flight = FLIGHT, n_read: int = 1000) -> str:
    """All cautions of one tile as one text; of `n_read` points those of the cloud count."""
    sample = sample_of(Cloud.of(np.zeros((n_read, 3))), cloud)
    return "\n".join(cautions_of([header], [sample], flight))


def test_a_plain_survey_needs_no_caution() -> None:
    """Silence is what makes a caution worth reading."""
    assert cautions(cloud_of()) == ""


def test_return_numbers_that_mean_nothing_are_told() -> None:
    """Made up by software, without their total, or all the same."""
    assert "made up by software" in cautions(cloud_of(), header=dataclasses.replace(HEADER, has_synthetic_returns=True))
    assert "total is not given" in cautions(cloud_of(n_returns=1))
    single = cloud_of().take(np.arange(0, 1000, 2))
    assert "one return a pulse" in cautions(single, n_read=500)


@pytest.mark.parametrize(("n_overlap", "is_told"), [(0, False), (5, False), (200, True)])
def test_overlap_is_told_from_one_point_in_a_hundred(n_overlap: int, is_told: bool) -> None:
    """A few marked points are nothing to know of."""
    assert ("20% of the points are marked as overlap" in cautions(cloud_of(n_overlap=n_overlap))) == is_told


@pytest.mark.parametrize(("n_read", "is_told"), [(1000, False), (1005, False), (2000, True)])
def test_points_that_are_left_out_are_told(n_read: int, is_told: bool) -> None:
    """Half of what was read counts for nothing: a mapper should ask why."""
    assert ("50% of the points are withheld" in cautions(cloud_of(), n_read=n_read)) == is_told


@pytest.mark.parametrize(("offset_m", "is_told"), [(0.05, False), (-0.12, True)])
def test_flight_lines_that_differ_are_told(offset_m: float, is_told: bool) -> None:
    """From a decimetre up or down, naming both lines."""
    flight = dataclasses.replace(FLIGHT, worst_offset=LineOffset(3, 4, offset_m, 100))
    assert ("flight lines 3 and 4 differ by 0.12 m" in cautions(cloud_of(), flight=flight)) == is_told
