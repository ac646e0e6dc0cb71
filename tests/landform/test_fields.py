"""Landforms drawn by field: no seam where fields meet."""

import os
from collections.abc import Callable
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely

from pipeline.draft.joining import join_fields
from pipeline.features import TEXT_COLUMNS
from pipeline.landform.draft import MARGIN_M, draft_landforms
from pipeline.landform.telling import tell
from pipeline.lattice.grid import Grid, Heights
from pipeline.settings import LandformSettings
from tests import landscape

FIELD_M = 500.0
SIDE_M = 600.0
GRID = Grid(landscape.CRS, round((500_000 - SIDE_M / 2) * 2), round((6_000_000 + SIDE_M / 2) * 2), 0.5, 1200, 1200)
"""Ground whose middle is the corner of four fields."""
SETTINGS = LandformSettings()
RIM_M = 1.0


@cache
def made_ground(grid: Grid) -> Heights:
    """Rolling ground with a terrace, knolls, pits, gullies, walls and a restless patch, many of them on the border."""
    x, y = landscape.from_middle(grid)
    ground = landscape.plane(grid, rise_deg=4) + landscape.rough(grid, spread_m=14, finest_m=25, seed=5)
    ground += landscape.noise(grid, spread_m=0.05)
    rng = np.random.default_rng(2)
    for height_m, radius_m in [(2.2, 6), (-1.8, 3.5)] * 25:
        east_m, north_m = rng.uniform(-280, 280, 2)
        if rng.random() < 0.5:
            east_m = rng.uniform(-8, 8)
        ground += landscape.bump(grid, east_m=east_m, north_m=north_m, height_m=height_m, radius_m=radius_m)
    wiggle = 12 * np.sin(x / 40)
    for at_m, depth_m in ((-20, 2.0), (110, -1.6), (-170, 1.3)):
        ground -= landscape.as_heights(depth_m * np.clip(1 - np.abs(y - at_m - wiggle) / 3, 0, 1) * (np.abs(x) < 130))
    ground += landscape.as_heights(2 * np.clip((y - 55 - x / 5) / 3.5 + 0.5, 0, 1) * np.clip(2 - np.abs(x) / 50, 0, 1))
    humps = np.sin(2 * np.pi * x / 7) * np.sin(2 * np.pi * y / 7)
    return landscape.as_heights(ground + 1.6 * humps * (np.hypot(x - 10, y + 110) < 30))


@cache
def real_ground(grid: Grid) -> Heights:
    """Bare earth of a scene, mirrored at its edges until it fills the grid."""
    path = Path(os.environ.get("TUSSOCK_DATA", "")) / "scene_a" / "truth_dem.tif"
    if not os.environ.get("TUSSOCK_DATA") or not path.exists():
        pytest.skip("no measuring data")
    with rasterio.open(path) as source:
        heights = source.read(1).astype(np.float32)
    # The middle of the grid lies within the scene, not on the mirror.
    wide = np.pad(heights, [(0, grid.rows), (0, grid.cols)], mode="symmetric")
    part = wide[200 : 200 + grid.rows, 200 : 200 + grid.cols]
    # On ground that is its own mirror image two places can be alike to the last bit; real ground has none such.
    return part + landscape.noise(grid, spread_m=0.03)


def drafted(ground: Heights, grid: Grid, *, margin_m: float | None) -> gpd.GeoDataFrame:
    """The draft of the whole ground at once, or of two by two fields with so much margin, joined."""
    gap = np.full(grid.shape, 0.2, np.float32)
    given = {"interval_m": 5.0, "scale": 10000, "settings": SETTINGS}
    if margin_m is None:
        return draft_landforms(ground, gap, 0 * gap, grid, **given)
    tables = []
    middle = landscape.middle_of(grid)
    for west_m in (middle[0] - FIELD_M, middle[0]):
        for south_m in (middle[1] - FIELD_M, middle[1]):
            core = (west_m, south_m, west_m + FIELD_M, south_m + FIELD_M)
            reach = (core[0] - margin_m, core[1] - margin_m, core[2] + margin_m, core[3] + margin_m)
            part = grid.within(reach)
            window = grid.window_of(part)
            tables.append(draft_landforms(ground[window], gap[window], 0 * gap[window], part, **given, core=core))
    return join_fields(tables, field_m=FIELD_M, crs=grid.crs, rewrite=tell)


@cache
def drafted_whole(make: Callable[[Grid], Heights]) -> gpd.GeoDataFrame:
    """The draft of a ground at once."""
    return drafted(make(GRID), GRID, margin_m=None)


def border_of(grid: Grid) -> shapely.Geometry:
    """The lines where the fields meet."""
    west, south, east, north = grid.bounds
    middle = landscape.middle_of(grid)
    lines = [[(middle[0], south), (middle[0], north)], [(west, middle[1]), (east, middle[1])]]
    return shapely.MultiLineString(lines)


def differing(one: gpd.GeoDataFrame, other: gpd.GeoDataFrame, border: shapely.Geometry) -> tuple[list[str], list[str]]:
    """Features of either draft that the other does not have: those outside a rim along the border, those within."""
    rim = shapely.buffer(border, RIM_M)
    outside, within = [], []
    for these, those in ((one, other), (other, one)):
        tree = shapely.STRtree(those.geometry.to_numpy())
        for row in these.itertuples():
            near = tree.query(row.geometry.buffer(0.01))
            if any(_is_same(row, those.iloc[number]) for number in near):
                continue
            (within if shapely.within(row.geometry, rim) else outside).append(f"{row.symbol} {row.geometry.wkt[:70]}")
    return outside, within


def _is_same(row: object, candidate: object) -> bool:
    """Same symbol, place, numbers and words."""
    if row.symbol != candidate.symbol or row.geometry.geom_type != candidate.geometry.geom_type:
        return False
    if any(getattr(row, name) != candidate[name] for name in TEXT_COLUMNS):
        return False
    numbers = ("confidence", "elevation_m", "height_m", "width_m", "angle_deg")
    pairs = [(getattr(row, name), candidate[name]) for name in numbers]
    return bool(
        np.allclose([a for a, _ in pairs], [b for _, b in pairs], atol=1e-6, equal_nan=True)
        and abs(row.geometry.length - candidate.geometry.length) < 1e-5
        and shapely.hausdorff_distance(row.geometry, candidate.geometry) < 1e-5
    )


@pytest.mark.parametrize("make", [made_ground, real_ground])
def test_fields_joined_are_the_draft_of_the_whole(make) -> None:
    """Two by two fields with their margin give every feature of one field, and no other, on their border too."""
    whole = drafted_whole(make)
    border = border_of(GRID)
    assert len(whole) > 60
    assert shapely.intersects(whole.geometry.to_numpy(), border).sum() > 10
    outside, within = differing(whole, drafted(make(GRID), GRID, margin_m=MARGIN_M), border)
    assert outside == []
    assert within == []


def test_without_a_margin_fields_differ() -> None:
    """The comparison sees a seam where there is one."""
    without = drafted(made_ground(GRID), GRID, margin_m=0.0)
    outside, _ = differing(drafted_whole(made_ground), without, border_of(GRID))
    assert len(outside) > 10
