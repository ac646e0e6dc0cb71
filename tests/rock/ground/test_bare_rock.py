"""Bare rock 214: shapes and reflectances with known answers."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid, Heights, Mask
from pipeline.rock.ground.bare_rock import (
    LEAST_CONFIDENCE,
    MOST_CONFIDENCE,
    find_bare_rock,
    measure_dark_ground,
    unevenness,
)
from pipeline.rock.ground.brightness import ground_brightness
from pipeline.rock.ground.sand import draw_bright_ground, judge_bright_ground
from pipeline.rock.ground.stony import find_stony_ground
from pipeline.settings import RockSettings

SETTINGS = RockSettings()
GRID = Grid.covering((0, 0, 120, 120), cell_m=1.0, crs="EPSG:25833")
EAST, NORTH = np.meshgrid(*GRID.centres())
PATCH = shapely.box(40, 40, 70, 70)
PULSES, PLANTS = 4.0, 600.0
"""Pulses a cell and the intensity of vegetated ground."""
LUMPS = 0.2 * np.sin(2 * np.pi * EAST / 6) * np.sin(2 * np.pi * NORTH / 6)
HILL = (100 + 0.12 * EAST).astype(np.float32)


def inside(shape: shapely.Polygon) -> Mask:
    """Cells whose centre lies in the shape."""
    return shapely.contains_xy(shape, EAST.ravel(), NORTH.ravel()).reshape(GRID.shape)


def counts_of(
    bare: Mask, intensity: NDArray[np.float64] | float, pulses: NDArray[np.float64] | float = PULSES
) -> dict[str, Heights]:
    """A survey of heath, on which half the pulses end in plants, and of bare ground, on which none does.

    Vegetated ground varies by 5 % from place to place, as it does in surveys.
    """
    uneven = 1 + 0.05 * np.random.default_rng(3).standard_normal((20, 20)).repeat(6, axis=0).repeat(6, axis=1)
    back = np.broadcast_to(pulses, GRID.shape).astype(np.float32)
    lone = np.where(bare, back, 0.5 * back).astype(np.float32)
    shine = lone * np.where(bare, intensity, PLANTS * uneven)
    return {"pulses": back, "lone_ground_returns": lone, "lone_ground_intensity_sum": shine.astype(np.float32)}


def drawn(counts: dict[str, Heights], ground: NDArray[np.float64]) -> gpd.GeoDataFrame:
    """The bare rock of the draft, every cell seen from close by."""
    near = np.full(GRID.shape, 0.4, np.float32)
    brightness = ground_brightness(counts, GRID)
    return find_bare_rock(
        ground.astype(np.float32),
        near,
        brightness,
        GRID,
        max_brightness_ratio=SETTINGS.bare_rock_max_brightness_ratio,
        stony_slow_m=SETTINGS.stony_slow_m,
    )


def bright(counts: dict[str, Heights]) -> gpd.GeoDataFrame:
    """The sandy ground of the draft."""
    brightness = ground_brightness(counts, GRID)
    drawn_ = draw_bright_ground(HILL, brightness, GRID)
    return judge_bright_ground(measure_dark_ground(drawn_.areas, drawn_, HILL, brightness, GRID))


def test_a_dark_bare_uneven_patch_is_drawn_with_low_confidence() -> None:
    """A slab of 30 by 30 m, 0.4 times as bright as the heath, comes back in its place and says what else it may be."""
    rock = inside(PATCH)
    found = drawn(counts_of(rock, 0.4 * PLANTS), HILL + LUMPS * rock)
    assert found.symbol.tolist() == ["214"]
    shape = found.geometry.iloc[0]
    assert shape.intersection(PATCH).area / shape.union(PATCH).area > 0.85
    assert LEAST_CONFIDENCE < found.confidence.iloc[0] <= MOST_CONFIDENCE
    assert "0.4" in found.evidence.iloc[0]
    assert "burnt" in found.evidence.iloc[0]


def test_darker_is_surer() -> None:
    """Confidence rises as the ground is darker."""
    rock = inside(PATCH)
    sure = [drawn(counts_of(rock, r * PLANTS), HILL + LUMPS * rock).confidence.iloc[0] for r in (0.65, 0.5, 0.3)]
    assert sure == sorted(sure)
    assert sure[0] < sure[-1]


@pytest.mark.parametrize("ratio", [0.8, 1.0, 1.5])
def test_ground_as_bright_as_plants_is_no_rock(ratio: float) -> None:
    """Uneven ground without grass is not enough."""
    rock = inside(PATCH)
    assert len(drawn(counts_of(rock, ratio * PLANTS), HILL + LUMPS * rock)) == 0


def test_a_level_dark_field_is_no_rock() -> None:
    """A ploughed field is dark and bare, but its furrows are short and it has no lumps."""
    field = inside(PATCH)
    furrows = 0.08 * np.sin(2 * np.pi * EAST / 0.7)
    assert len(drawn(counts_of(field, 0.4 * PLANTS), HILL + furrows * field)) == 0


def test_a_dark_even_yard_may_be_paved() -> None:
    """A level square as smooth as asphalt is a candidate for 501 and no rock."""
    yard = inside(PATCH)
    noise = 0.008 * np.random.default_rng(5).standard_normal(GRID.shape)
    found = drawn(counts_of(yard, 0.4 * PLANTS), HILL + noise)
    assert found.symbol.tolist() == ["501"]
    assert found.confidence.iloc[0] < 0.5
    assert found.geometry.iloc[0].intersection(PATCH).area / PATCH.area > 0.85


def test_bright_bare_ground_may_be_sand() -> None:
    """Bare ground 1.6 times as bright as the heath is a candidate for 213; at 1.15 times surveys vary as much."""
    sand = inside(PATCH)
    found = bright(counts_of(sand, 1.6 * PLANTS))
    assert found.symbol.tolist() == ["213"]
    assert 0 < found.confidence.iloc[0] < 0.5
    assert found.geometry.iloc[0].intersection(PATCH).area / PATCH.area > 0.85
    assert bright(counts_of(sand, 1.15 * PLANTS)).empty
    assert bright(counts_of(np.zeros_like(sand), PLANTS)).empty


def test_grass_on_it_keeps_uneven_dark_ground_from_being_rock() -> None:
    """Where four pulses in ten end in heather nothing is drawn, however dark the ground below."""
    heather = counts_of(inside(PATCH), 0.4 * PLANTS)
    thinner = np.where(inside(PATCH), np.float32(0.6), np.float32(1))
    for name in ("lone_ground_returns", "lone_ground_intensity_sum"):
        heather[name] = heather[name] * thinner
    assert len(drawn(heather, HILL + LUMPS)) == 0


def test_where_pulses_are_swallowed_is_water_not_rock() -> None:
    """A third of the pulses comes back from a dark place: it is wet."""
    wet = inside(PATCH)
    pulses = np.where(wet, PULSES / 3, PULSES)
    assert len(drawn(counts_of(wet, 0.4 * PLANTS, pulses), HILL + LUMPS * wet)) == 0


def test_a_road_is_too_narrow() -> None:
    """A strip of 7 m, however uneven and dark, is no area of bare rock."""
    road = inside(shapely.box(50, 0, 57, 120))
    assert len(drawn(counts_of(road, 0.4 * PLANTS), HILL + LUMPS * road)) == 0


def test_a_steep_face_is_dark_because_it_is_turned_away() -> None:
    """At 45 degrees nothing is drawn; a hillside of 25 degrees keeps its rock."""
    rock = inside(PATCH)
    for steep_deg, n in ((45, 0), (25, 1)):
        hillside = 100 + np.tan(np.radians(steep_deg)) * EAST
        assert len(drawn(counts_of(rock, 0.4 * PLANTS), hillside + LUMPS * rock)) == n


def test_rock_too_rough_to_run_over_is_left_to_stony_ground() -> None:
    """The norm draws less runnable rock as 210 to 212: blocks of a metre are not 214, and are stony ground."""
    rock = inside(PATCH)
    blocks = np.random.default_rng(4).uniform(0, 1.8, (60, 60)).repeat(2, axis=0).repeat(2, axis=1) * rock
    counts = counts_of(rock, 0.4 * PLANTS)
    assert len(drawn(counts, HILL + blocks)) == 0
    near = np.full(GRID.shape, 0.4, np.float32)
    stony = find_stony_ground(
        (HILL + blocks).astype(np.float32),
        near,
        GRID,
        slow_m=SETTINGS.stony_slow_m,
        dark_ratio=SETTINGS.bare_rock_max_brightness_ratio,
    )
    assert stony.geometry.intersection(PATCH).area.sum() > 0.5 * PATCH.area


@pytest.mark.parametrize("everywhere", [0.0, 255.0])
def test_without_intensity_nothing_is_drawn(everywhere: float) -> None:
    """A survey whose intensity is nought or a constant says nothing of rock."""
    rock = inside(PATCH)
    counts = counts_of(rock, everywhere)
    counts["lone_ground_intensity_sum"] = counts["lone_ground_returns"] * np.float32(everywhere)
    assert not ground_brightness(counts, GRID).is_known
    assert len(drawn(counts, HILL + LUMPS * rock)) == 0


def test_a_survey_of_nothing_but_rock_has_nothing_to_compare_with() -> None:
    """Darkness is relative: where nothing grows, no ground is dark, and nothing is claimed."""
    everywhere = np.ones(GRID.shape, bool)
    assert len(drawn(counts_of(everywhere, 0.4 * PLANTS), HILL + LUMPS)) == 0


def test_a_corner_of_heath_is_too_little_to_compare_with() -> None:
    """Of 14 000 m2 of rock and 400 m2 of heath nobody knows which is the usual ground."""
    rock = ~inside(shapely.box(0, 0, 20, 20))
    assert not ground_brightness(counts_of(rock, 0.4 * PLANTS), GRID).is_known
    assert len(drawn(counts_of(rock, 0.4 * PLANTS), HILL + LUMPS * rock)) == 0


def test_an_empty_survey_has_no_rock() -> None:
    """No pulses, no heights, no features and no error."""
    nothing = np.zeros(GRID.shape, np.float32)
    empty = dict.fromkeys(("pulses", "lone_ground_returns", "lone_ground_intensity_sum"), nothing)
    assert len(drawn(empty, np.full(GRID.shape, np.nan))) == 0


@settings(max_examples=15, deadline=None)
@given(gain=st.floats(0.01, 80.0))
def test_the_unit_of_intensity_does_not_matter(gain: float) -> None:
    """8 bits or 16, this scanner or that: the same rock is drawn with the same confidence."""
    rock = inside(PATCH)
    counts = counts_of(rock, 0.45 * PLANTS)
    other = counts | {"lone_ground_intensity_sum": counts["lone_ground_intensity_sum"] * np.float32(gain)}
    one, two = drawn(counts, HILL + LUMPS * rock), drawn(other, HILL + LUMPS * rock)
    assert one.geometry.geom_equals_exact(two.geometry, 0.01).all()
    assert two.confidence.tolist() == pytest.approx(one.confidence.tolist(), abs=1e-3)


def test_unevenness_passes_lumps_and_leaves_out_slopes_and_noise() -> None:
    """Waves of 6 m keep a good part of their height; a plane has none and noise of 3 cm a third of a centimetre."""
    inner = (slice(20, -20), slice(20, -20))
    noise = 0.03 * np.random.default_rng(5).standard_normal(GRID.shape)
    assert unevenness((HILL + LUMPS).astype(np.float32), GRID)[inner].max() > 0.08
    assert unevenness(HILL, GRID)[inner].max() < 0.001
    assert np.sqrt(np.mean(unevenness((HILL + noise).astype(np.float32), GRID)[inner] ** 2)) < 0.01
