"""Vegetation drawn by field and joined is that of the area drawn in one piece."""

from __future__ import annotations

from functools import lru_cache

import geopandas as gpd
import numpy as np
import pytest
import shapely
from scipy import ndimage

from pipeline.draft.joining import join_fields
from pipeline.features import without_sums
from pipeline.lattice.grid import Bounds, Grid, Heights
from pipeline.settings import VegetationSettings
from pipeline.terrain.surface import canopy_height
from pipeline.vegetation.areas.open_land import mean_density
from pipeline.vegetation.draft import MARGIN_M, FieldDraft, draft_field, rides_of, say_vegetation
from pipeline.vegetation.rides.counts import Counts
from pipeline.vegetation.rides.rides import Candidates
from tests.pulse_scene import Forest, crown_field, profile_of, shoot

pytestmark = pytest.mark.slow
SETTINGS = VegetationSettings()
HALF_M = 300
GRID = Grid("EPSG:25832", -HALF_M, HALF_M, 1.0, 2 * HALF_M, 2 * HALF_M)
"""The border of the fields runs through its middle, at 0; the squares of 250 m and of 50 m lie askew to its rim."""
CORES: tuple[Bounds, ...] = ((-1e3, -1e3, 0, 0), (-1e3, 0, 0, 1e3), (0, -1e3, 1e3, 0), (0, 0, 1e3, 1e3))
RIM_M = 1.0

Rasters = tuple[dict[str, Heights], Heights, Heights]


def rolling(seed: int, sigma_m: float) -> Heights:
    """Values of mean 0 and spread 1 that change over so many metres."""
    values = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=GRID.shape), sigma_m)
    return (values / values.std()).astype(np.float32)


@lru_cache
def scene() -> Rasters:
    """Counts, bare earth and canopy of a forest with all that is drawn, much of it across the borders."""
    rng = np.random.default_rng(7)
    east, north = np.meshgrid(*GRID.centres())
    is_open = rolling(1, 22.0) > 0.9
    is_ride = (np.abs(north - 0.4 * east - 60) < 2.5) & (east < 180)
    is_orchard = (np.abs(east + 20) < 55) & (np.abs(north + 150) < 55)
    at = np.arange(-200.0, 60.0, 7.0)
    fruit = np.column_stack([values.ravel() for values in np.meshgrid(at[18:], at[:17])])
    crown = crown_field(GRID, rng.uniform(-HALF_M, HALF_M, (10500, 2)), radius_m=3.2)
    lone = crown_field(GRID, rng.uniform(-HALF_M, HALF_M, (250, 2)), radius_m=2.4)
    crown = np.where(is_open, lone, crown)
    crown = np.where(is_orchard, crown_field(GRID, fruit, radius_m=2.0), crown)
    understorey = np.where(is_open, 0.05 * (rolling(2, 15.0) > 0), 0.35 * np.exp(rolling(3, 9.0)) - 0.2)
    clear = is_ride & ~is_open
    crown, understorey = np.where(clear, 0, crown), np.where(clear | is_orchard, 0, np.maximum(understorey, 0))
    forest = shoot(GRID, understorey.astype(np.float32), crown, pulses_per_m2=4.0, seed=11)
    cell = GRID.cell_index(forest.cloud.east, forest.cloud.north)
    # Low trees in the orchard, high ones in a stand to the north.
    scale = np.where(is_orchard, 0.3, np.where(north + 60 * np.sin(east / 60 + 1) > 20, 1.9, 0.8)).ravel()[cell]
    height = np.where(forest.height_m > 5, forest.height_m * scale, forest.height_m).astype(np.float32)
    grown = Forest(forest.cloud, forest.asprs_class, height)
    canopy = canopy_height(grown.cloud, grown.asprs_class, grown.height_m, GRID)
    return profile_of(grown, GRID, SETTINGS), np.zeros(GRID.shape, np.float32), canopy


def drawn(core: Bounds | None, margin_m: float) -> FieldDraft:
    """One field with a margin, or the whole scene."""
    profile, bare_earth, canopy = scene()
    density = mean_density(profile["pulses"], np.isnan(bare_earth), cell_m=GRID.cell_m)
    if core is None:
        return draft_field(
            profile, bare_earth, canopy, GRID, settings=SETTINGS, core=GRID.bounds, pulses_per_m2=density
        )
    reach = (core[0] - margin_m, core[1] - margin_m, core[2] + margin_m - 1, core[3] + margin_m - 1)
    window = GRID.window_around(reach)
    return draft_field(
        {name: values[window] for name, values in profile.items()},
        bare_earth[window],
        canopy[window],
        GRID.part(window),
        settings=SETTINGS,
        core=core,
        pulses_per_m2=density,
    )


def said(features: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The features with their evidence."""
    return say_vegetation(features, settings=SETTINGS)


def rides(candidates: Candidates) -> gpd.GeoDataFrame:
    """The rides of the scene."""
    return rides_of(candidates, Counts.of(scene()[0], GRID), GRID.crs, settings=SETTINGS)


@lru_cache
def in_one_piece() -> FieldDraft:
    """The scene drawn at once."""
    return drawn(None, 0)


@lru_cache
def by_field(margin_m: float) -> tuple[FieldDraft, ...]:
    """The scene drawn by field."""
    return tuple(drawn(core, margin_m) for core in CORES)


def joined(margin_m: float) -> gpd.GeoDataFrame:
    """The features of all fields joined."""
    tables = [field.features for field in by_field(margin_m)]
    return join_fields(tables, field_m=1000.0, crs=GRID.crs, rewrite=said)


def differing(one: gpd.GeoDataFrame, other: gpd.GeoDataFrame) -> list[str]:
    """The features of either table that the other has not: same symbol, evidence, confidence and vertices.

    What lies within RIM_M of the scene's rim is left out.
    """
    keys = [rows_of(table) for table in (one, other)]
    return sorted(keys[0] - keys[1]) + [f"other: {key}" for key in sorted(keys[1] - keys[0])]


def rows_of(features: gpd.GeoDataFrame) -> set[str]:
    """A text for each feature.

    Vertices are given to a tenth of a millimetre, from a fixed one on; those straight between their neighbours are left
    out, as where a field's border cut an edge none need stay.
    """
    inner = shapely.box(*(edge + side * RIM_M for edge, side in zip(GRID.bounds, (1, 1, -1, -1), strict=True)))
    features = features[shapely.intersects(features.geometry.to_numpy(), inner)]
    shapes = shapely.normalize(shapely.set_precision(shapely.simplify(features.geometry.to_numpy(), 1e-7), 1e-4))
    texts = zip(features["symbol"], features["evidence"], features["confidence"].round(6), shapes, strict=True)
    return {
        f"{symbol}|{text}|{sure}|{shapely.to_wkt(shape, rounding_precision=4)}" for symbol, text, sure, shape in texts
    }


def test_the_scene_holds_what_is_to_be_joined() -> None:
    """Areas of forest and open land, an orchard, boundaries, trees and rides, many of them across the borders."""
    whole = without_sums(said(in_one_piece().features))
    across = whole[
        whole.intersects(shapely.MultiLineString([[(-HALF_M, 0), (HALF_M, 0)], [(0, -HALF_M), (0, HALF_M)]]))
    ]
    assert {"406", "408", "401", "413", "416"} <= set(across["symbol"])
    assert {"417", "418"} & set(whole["symbol"])
    assert whole["evidence"].str.len().min() > 0
    assert len(across) > 10
    assert len(rides(in_one_piece().candidates)) >= 1


def test_fields_with_their_margin_make_the_same_map() -> None:
    """No feature differs in a vertex or in what it says, and rides are the same."""
    assert differing(without_sums(said(in_one_piece().features)), joined(MARGIN_M)) == []
    found = rides(Candidates.join([field.candidates for field in by_field(MARGIN_M)]))
    assert differing(rides(in_one_piece().candidates), found) == []


def test_rasters_of_a_field_are_those_of_the_whole() -> None:
    """Cell for cell within the core."""
    whole = in_one_piece()
    for core, field in zip(CORES, by_field(MARGIN_M), strict=True):
        window = GRID.window_around((core[0], core[1], core[2] - 1, core[3] - 1))
        reach = GRID.window_around(
            tuple(edge + MARGIN_M * s - (s > 0) for edge, s in zip(core, (-1, -1, 1, 1), strict=True))
        )
        rows, cols = (slice(a.start - b.start, a.stop - b.start) for a, b in zip(window, reach, strict=True))
        for name in ("understorey", "understorey_error", "running_speed"):
            np.testing.assert_array_equal(getattr(whole, name)[window], getattr(field, name)[rows, cols], err_msg=name)


def test_without_a_margin_the_map_differs() -> None:
    """The control: what decides about a field's rim lies beyond it."""
    assert len(differing(without_sums(said(in_one_piece().features)), joined(0.0))) > 10
