"""Marshes and springs: candidates where the ground is wet by position, none where it is not."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.lattice.grid import Grid, Heights
from pipeline.settings import WaterSettings
from pipeline.water.draft import BEGINS_M2, draft_water
from pipeline.water.running.channels import Channel, find_channels
from pipeline.water.running.flow import Flow, Runoff, lead_water
from pipeline.water.sight.ground import Ground, in_memory
from pipeline.water.wet.marsh import wetness_index
from pipeline.water.wet.springs import find_springs

GRID = Grid("EPSG:25832", 2000, 8000, 0.5, 400, 400)
EAST, NORTH = np.meshgrid(*GRID.centres())
X, Y = EAST - GRID.bounds[0], NORTH - GRID.bounds[1]
ROUGH = np.random.default_rng(8).normal(0, 0.03, GRID.shape)
ONES = np.ones(GRID.shape, np.float32)
FLOOR = np.abs(X - 100) < 25


def flat_floor() -> Heights:
    """A valley between steep sides, its floor 50 m wide and falling 1 % to the south."""
    heights: Heights = (50 + 0.01 * Y + 0.4 * np.maximum(np.abs(X - 100) - 25, 0) + ROUGH).astype(np.float32)
    return heights


def marshes_of(heights: Heights, *, shine: Heights, canopy: Heights, aimed: Heights = ONES) -> list[float]:
    """Areas of the marshes of a draft, in square metres."""
    ground = Ground(
        GRID,
        bare_earth=in_memory(heights),
        water_returns=in_memory(0 * ONES),
        last_returns=in_memory(ONES),
        aimed_pulses=in_memory(aimed),
        ground_support=in_memory(0 * ONES),
        canopy=in_memory(canopy),
        lone_returns=in_memory(ONES),
        lone_shine=in_memory(shine),
    )
    found = draft_water(ground, scale=10_000, settings=WaterSettings(), climate="moderate").features
    return [float(area) for area in found[found["symbol"] == "310"].area]


def test_a_dark_valley_floor_without_trees_may_be_marsh() -> None:
    """Of a flat floor to which 4 ha drain, a good part of the lower half is proposed as marsh."""
    areas_m2 = marshes_of(flat_floor(), shine=np.where(FLOOR, 60, 100).astype(np.float32), canopy=0 * ONES)
    assert 0.2 * 50 * 100 < sum(areas_m2) < 50 * 200


@pytest.mark.parametrize("why", ["bright", "wooded", "sloping", "plain"])
def test_one_sign_alone_is_no_marsh(why: str) -> None:
    """A floor as bright as the ground around, a wooded one, a dark slope, and a dark plain on which nothing gathers."""
    dark = np.where(FLOOR, 60, 100).astype(np.float32)
    heights = {
        "sloping": (50 + 0.15 * Y + ROUGH).astype(np.float32),
        "plain": (50 + 0.02 * Y + ROUGH).astype(np.float32),
    }
    found = marshes_of(
        heights.get(why, flat_floor()),
        shine=100 * ONES if why == "bright" else dark,
        canopy=15 * ONES if why == "wooded" else 0 * ONES,
    )
    assert found == []


def test_a_floor_as_dark_as_the_fields_around_is_no_marsh() -> None:
    """Where half of the dry slopes are as dark as the floor, being dark tells nothing."""
    fields = np.where((Y // 40 % 2 == 0) | FLOOR, 60, 100).astype(np.float32)
    assert marshes_of(flat_floor(), shine=fields, canopy=0 * ONES) == []


def test_a_paved_floor_is_no_marsh() -> None:
    """A floor that sends back a fifth of what the ground around does is asphalt."""
    assert marshes_of(flat_floor(), shine=np.where(FLOOR, 20, 100).astype(np.float32), canopy=0 * ONES) == []


@pytest.mark.parametrize(("per_m2", "tells"), [(2.0, True), (0.1, False)])
def test_missing_pulses_tell_of_marsh_only_where_many_were_sent(per_m2: float, tells: bool) -> None:
    """A floor that lost half of its pulses is proposed in a survey of 2 to a square metre, not in one of a tenth."""
    aimed = (per_m2 * GRID.cell_m**2 * np.where(FLOOR, 0.5, 1.0)).astype(np.float32)
    assert bool(marshes_of(flat_floor(), shine=100 * ONES, canopy=0 * ONES, aimed=aimed)) == tells


def test_wetness_of_a_plane_is_what_the_formula_says() -> None:
    """Down a plane of 5 % the ground above a metre of breadth is as long as the slope: ln(length / 0.05)."""
    rows = np.arange(100)[:, None] * 2.0
    heights = np.repeat(100 - 0.05 * rows, 80, axis=1)
    drained_m2 = np.repeat((rows + 2) * 2.0, 80, axis=1)
    index = wetness_index(heights, drained_m2, 2.0)
    assert index[70, 40] == pytest.approx(np.log((140 + 2) / 0.05), abs=0.02)


def channels_of(heights: Heights) -> tuple[list[Channel], Flow]:
    """Watercourses of a surface, and how water was led over it."""
    usual = WaterSettings()
    runoff = Runoff(BEGINS_M2["moderate"], usual.channel_min_drained_m2, usual.channel_min_depth_m)
    flow = lead_water(in_memory(heights), GRID, runoff)
    return find_channels(flow, in_memory(heights), in_memory(ONES), GRID, runoff).channels, flow


def test_a_stream_that_begins_below_a_step_has_a_spring() -> None:
    """A bed that begins at the foot of a bank of 3 m has one spring there, opening downstream; without a bank none."""
    away = np.abs(X - 100 - 6 * np.sin(Y / 12))
    bed = 1.0 * np.clip(1 - away / 2, 0, 1) * (Y < 120)
    bank = 3.0 * np.clip((Y - 121) / 5, 0, 1)
    plain = 50 + 0.03 * Y + 0.05 * away + 0.5 * ROUGH
    (spring,) = find_springs(*channels_of((plain - bed + bank).astype(np.float32)))
    assert (spring.place.x - GRID.bounds[0], spring.place.y - GRID.bounds[1]) == pytest.approx((97, 120), abs=8)
    assert 200 < spring.angle_deg < 340
    assert find_springs(*channels_of((plain - bed).astype(np.float32))) == []
