"""Rock drawn in four fields and in one: no seam."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from pipeline.draft.joining import join_fields
from pipeline.features import make_features
from pipeline.lattice.fields import Field, fields_over
from pipeline.lattice.grid import Grid, Heights
from pipeline.rock.draft import draft_rock_of_field, judge_rock
from pipeline.rock.ground.brightness import REACH_OF_WINDOW_M, UsualGround, ground_brightness, usual_ground
from pipeline.settings import RockSettings
from tests.benchmarks.seams import unmatched

SETTINGS = RockSettings()
FIELD_M = 250.0
MARGIN_M = 120.0
GRID = Grid.covering((-250.0, 1000.0, 250.0, 1500.0), cell_m=1.0, crs="EPSG:25833")
EAST, NORTH = np.meshgrid(*GRID.centres())


def made_ground() -> Heights:
    """A slope with stony ground and a cliff across the middle, both longer than the margin, and an outcrop."""
    random = np.random.default_rng(11)
    ground = 100 + 0.1 * EAST + 0.02 * NORTH
    stony = (np.abs(NORTH - 1300 - 30 * np.sin(EAST / 40)) < 25) & (np.abs(EAST) < 200)
    ground += np.where(stony, random.normal(0, 0.4 + 0.15 * (EAST > 60), GRID.shape), 0)
    ground += np.where(1180 + 10 * np.sin(EAST / 30) < NORTH, 3.0, 0)
    outcrop = shapely.contains_xy(OUTCROP, EAST, NORTH)
    ground += np.where(outcrop, 0.3 * np.sin(2 * np.pi * EAST / 7) * np.sin(2 * np.pi * NORTH / 6), 0)
    ground[:30, 260:300] = np.nan
    return ground.astype(np.float32)


OUTCROP = shapely.Point(5, 1060).buffer(40)


def made_counts() -> dict[str, Heights]:
    """Heath and, darker, the outcrop, half of whose pulses end in no plant."""
    random = np.random.default_rng(3)
    bare = shapely.contains_xy(OUTCROP, EAST, NORTH)
    pulses = np.full(GRID.shape, 4, np.float32)
    lone = np.where(bare, pulses, 0.5 * pulses).astype(np.float32)
    blocks = 1 + 0.05 * random.standard_normal((50, 50)).repeat(10, axis=0).repeat(10, axis=1)
    shine = lone * np.where(bare, 300.0, 600.0 * blocks)
    return {"pulses": pulses, "lone_ground_returns": lone, "lone_ground_intensity_sum": shine.astype(np.float32)}


def made_boulders() -> gpd.GeoDataFrame:
    """Candidates everywhere, many beside the borders, some so close that they form groups."""
    random = np.random.default_rng(5)
    places = np.concatenate((random.uniform([-240, 1010], [240, 1490], (160, 2)), np.zeros((0, 2))))
    beside = np.column_stack((random.uniform(-8, 8, 40), random.uniform(1010, 1490, 40)))
    return make_features(
        list(shapely.points(np.concatenate((places, beside)))),
        crs=GRID.crs,
        symbol="204",
        confidence=random.uniform(0.1, 0.95, 200),
        evidence="made",
        height_m=random.uniform(1, 3, 200),
        width_m=2.0,
        elevation_m=100.0,
    )


def drawn(fields: list[Field], margin_m: float, usual: UsualGround) -> gpd.GeoDataFrame:
    """The rock of these fields, joined and judged."""
    ground, counts, boulders = made_ground(), made_counts(), made_boulders()
    pieces = []
    for field in fields:
        grid = GRID.within(field.reach(margin_m))
        window = GRID.window_of(grid)
        west, south, east, north = grid.bounds
        pieces.append(
            draft_rock_of_field(
                boulders.cx[west:east, south:north],
                ground[window],
                np.full(grid.shape, 0.4, np.float32),
                np.zeros(grid.shape, np.float32),
                grid,
                core=field.core,
                brightness=ground_brightness({name: v[window] for name, v in counts.items()}, grid, usual=usual),
                settings=SETTINGS,
            )
        )

    def judged(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        return judge_rock(table, dark_ratio=SETTINGS.bare_rock_max_brightness_ratio)

    return join_fields(pieces, field_m=FIELD_M, crs=GRID.crs, rewrite=judged)


@pytest.fixture(scope="module")
def usual() -> UsualGround:
    """What is usual in the area."""
    return usual_ground([(made_counts(), GRID, GRID)], GRID)


@pytest.fixture(scope="module")
def whole(usual: UsualGround) -> gpd.GeoDataFrame:
    """The area in one field."""
    return drawn([Field("whole", (-1000.0, 0.0, 1000.0, 2000.0))], MARGIN_M, usual)


def test_four_fields_draw_what_one_draws(whole: gpd.GeoDataFrame, usual: UsualGround) -> None:
    """Feature for feature: points, lines along a border, areas longer than the margin, and the words for them."""
    fields = fields_over([GRID.bounds], field_m=FIELD_M, one_field_m2=0)
    assert len(fields) == 4
    cut = drawn(fields, MARGIN_M, usual)
    assert {"201", "204", "210", "214"} <= set(whole.symbol)
    assert len(whole) == len(cut)
    # A field sees a cliff to the end of its margin, so the words for one longer than that are those of a part of it.
    long = (whole.symbol == "201") & (whole.length > 2 * MARGIN_M)
    assert long.any()
    cliffs = shapely.union_all(cut[cut.symbol == "201"].geometry)
    assert shapely.hausdorff_distance(shapely.union_all(whole[long].geometry), cliffs, densify=0.1) < 1e-3
    assert not len(unmatched(whole[~long], cut))
    assert not len(unmatched(cut[cut.symbol != "201"], whole))
    large = whole[whole.symbol.isin(["210", "211", "212"])]
    assert (large.bounds.maxx - large.bounds.minx).max() > 2 * MARGIN_M


def test_without_a_margin_there_is_a_seam(whole: gpd.GeoDataFrame, usual: UsualGround) -> None:
    """The comparison can fail: fields that do not see their neighbours differ."""
    cut = drawn(fields_over([GRID.bounds], field_m=FIELD_M, one_field_m2=0), 0.0, usual)
    assert len(unmatched(whole, cut)) > 3


def usual_by_parts(counts: dict[str, NDArray[np.float32]], step_rows: int) -> UsualGround:
    """What is usual, found in bands."""
    parts = []
    for own in GRID.bands(step_rows=step_rows, most_cells=1):
        around = GRID.within(own.pad(REACH_OF_WINDOW_M).bounds)
        window = GRID.window_of(around)
        parts.append(({name: values[window] for name, values in counts.items()}, around, own))
    return usual_ground(parts, GRID)


@pytest.mark.parametrize("step_rows", [37, 128])
def test_what_is_usual_does_not_depend_on_the_bands(usual: UsualGround, step_rows: int) -> None:
    """One figure for the area, however it is read."""
    found = usual_by_parts(made_counts(), step_rows)
    assert found.pulses == pytest.approx(usual.pulses, rel=1e-6)
    assert found.brightness == pytest.approx(usual.brightness, rel=1e-6)
    assert found.spread_ratio == pytest.approx(usual.spread_ratio, rel=1e-4)
