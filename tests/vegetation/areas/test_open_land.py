"""Open land is where no forest stands: rough or not, with or without scattered trees."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from pipeline.lattice.grid import Grid
from pipeline.settings import VegetationSettings
from pipeline.vegetation.areas.open_land import lone_crowns, open_ground, void_radius_m, voids
from pipeline.vegetation.draft import draft_vegetation
from tests.pulse_scene import Forest, crown_field, forest_draft, profile_of, shoot

GRID = Grid("EPSG:25832", 0, 160, 1.0, 160, 160)
EAST, NORTH = np.meshgrid(*GRID.centres())
NOTHING = np.zeros(GRID.shape, np.float32)
FOREST = np.full(GRID.shape, 0.2, np.float32)


def of(draft, *symbols: str):
    """The features with these symbols."""
    return draft.features[draft.features["symbol"].isin(symbols)]


def test_a_clearing_is_found_where_it_is():
    """A round clearing of 30 m radius comes back with 95 % overlap."""
    disc = shapely.Point(80, 80).buffer(30)
    is_open = (EAST - 80) ** 2 + (NORTH - 80) ** 2 < 30**2
    draft = forest_draft(GRID, NOTHING, np.where(is_open, 0, FOREST))
    found = shapely.union_all(of(draft, "401").geometry.to_numpy())
    assert found.intersection(disc).area / found.union(disc).area > 0.9


def test_closed_forest_has_no_open_land():
    """Crowns over all the ground: nothing yellow."""
    assert of(forest_draft(GRID, NOTHING, FOREST), "401", "402", "403", "404").empty


def test_a_track_through_forest_is_too_narrow_to_be_open_land():
    """A strip of 4 m is drawn as a line, not as an area."""
    crown = np.where(np.abs(NORTH - 80) < 2, 0, FOREST)
    assert of(forest_draft(GRID, NOTHING, crown), "401", "403").empty


def test_a_thicket_without_trees_is_not_open_land():
    """Young growth of 2.5 m without a tree above it is green, not yellow."""
    thicket = np.full(GRID.shape, 0.6, np.float32)
    draft = forest_draft(GRID, thicket, NOTHING)
    assert of(draft, "401", "403").empty
    assert of(draft, "408").area.sum() > 0.9 * 160**2


def test_rough_land_grown_over_by_bushes_is_open_land():
    """A strip of 20 m through forest with scrub of 0.1 m2/m3 and a bush every 10 m is open land, not forest."""
    strip = np.abs(NORTH - 80) < 10
    bushes = crown_field(GRID, np.array([(e, 80 + 5 * (-1) ** i) for i, e in enumerate(range(5, 160, 10))]), radius_m=1)
    scrub = np.where(strip, np.where(bushes > 0, 1.2, 0.1), 0).astype(np.float32)
    draft = forest_draft(GRID, scrub, np.where(strip, 0, FOREST))
    found = shapely.union_all(of(draft, "401", "403", "404").geometry.to_numpy())
    assert found.intersection(shapely.box(0, 70, 160, 90)).area > 0.7 * 160 * 20
    assert found.area < 1.1 * 160 * 20


def place_trees(spacing_m: float) -> np.ndarray:
    """Trees on a jittered lattice."""
    rng = np.random.default_rng(2)
    at = np.arange(spacing_m / 2, 160, spacing_m)
    east, north = np.meshgrid(at, at)
    return np.column_stack((east.ravel(), north.ravel())) + rng.uniform(-2, 2, (east.size, 2))


@pytest.mark.parametrize(("spacing_m", "symbol"), [(45.0, "401"), (16.0, "402")])
def test_trees_in_a_meadow_are_drawn_one_by_one_until_there_are_too_many(spacing_m: float, symbol: str):
    """A few trees: open land with tree symbols. Many: open land with scattered trees.

    A tree at the edge of the survey may be the edge of a wood that it cuts, and need not be drawn.
    """
    trees = place_trees(spacing_m)
    draft = forest_draft(GRID, NOTHING, crown_field(GRID, trees, radius_m=3.0))
    assert of(draft, symbol).area.sum() > 0.8 * 160**2
    singles = of(draft, "417", "418")
    if symbol == "402":
        assert singles.empty
        return
    places = shapely.get_coordinates(singles.geometry.to_numpy())
    away_m = np.hypot(*(places[:, None] - trees).transpose(2, 0, 1))
    assert (away_m.min(axis=1) < 3).all(), "nothing is drawn where no tree stands"
    well_inside = (trees < 160 - 30).all(axis=1)
    assert well_inside.sum() == 9
    assert (away_m.min(axis=0)[well_inside] < 3).all()


def test_an_open_stand_of_trees_is_forest():
    """Crowns that do not touch, but cover a third of the ground, are forest."""
    draft = forest_draft(GRID, NOTHING, crown_field(GRID, place_trees(9.0), radius_m=3.4))
    assert of(draft, "401", "402").area.sum() < 0.1 * 160**2


def test_clearings_keep_clear_of_crowns():
    """No open cell lies on a crown, and every open cell lies in a circle that fits between crowns."""
    rng = np.random.default_rng(0)
    is_cover = rng.random((60, 60)) < 0.01
    opened = open_ground(is_cover, cell_m=1.0, radius_m=5.0)
    assert not (opened & is_cover).any()
    assert opened.any()


def test_without_any_cover_all_is_open_and_under_full_cover_nothing():
    """The two ends; only in the corners no circle fits."""
    opened = open_ground(np.zeros((20, 20), np.bool_), cell_m=1.0, radius_m=6.0)
    assert opened[6:14].all()
    assert opened[:, 6:14].all()
    assert not open_ground(np.ones((20, 20), np.bool_), cell_m=1.0, radius_m=6.0).any()


def test_what_lies_beyond_the_survey_is_not_taken_for_open_land():
    """A gap of 8 m between the forest and the survey's rim may end just beyond it; one of 20 m is open land anyway."""
    for width_m, share in ((8, 0.0), (20, 0.9)):
        strip = width_m > EAST
        is_outside = EAST > 150
        forest = shoot(GRID, NOTHING, np.where(strip | (151 - width_m < EAST), 0, FOREST), pulses_per_m2=4.0, seed=3)
        settings = VegetationSettings()
        profile = {
            name: np.where(is_outside, 0, values).astype(np.float32)
            for name, values in profile_of(forest, GRID, settings).items()
        }
        bare_earth = np.where(is_outside, np.nan, 0).astype(np.float32)
        draft = draft_vegetation(profile, bare_earth, NOTHING, GRID, settings=settings)
        found = of(draft, "401", "402", "403", "404")
        assert found.area.sum() >= share * 2 * width_m * 150
        assert found.empty == (share == 0)


def test_a_large_crown_is_no_lone_tree():
    """A wood of 20 x 20 m in a meadow stays a wood."""
    is_cover = np.zeros((100, 100), np.bool_)
    is_cover[40:60, 40:60] = True
    is_cover[10:14, 10:14] = True
    around = np.full((100, 100), 0.05, np.float32)
    lone = lone_crowns(is_cover, around, cell_m=1.0)
    assert lone[10:14, 10:14].all()
    assert not lone[40:60, 40:60].any()


def test_a_lake_that_swallows_pulses_is_not_seen_rather_than_open():
    """Where nothing came back nothing is known; the meadow beside it is open land."""
    is_lake = (EAST - 50) ** 2 + (NORTH - 80) ** 2 < 25**2
    forest = shoot(GRID, NOTHING, np.where(EAST < 110, 0, FOREST), pulses_per_m2=2.0, seed=3)
    on_lake = is_lake.ravel()[GRID.cell_index(forest.cloud.east, forest.cloud.north)]
    dry = Forest(forest.cloud.take(~on_lake), forest.asprs_class[~on_lake], forest.height_m[~on_lake])
    settings = VegetationSettings()
    flat = np.zeros(GRID.shape, np.float32)
    draft = draft_vegetation(profile_of(dry, GRID, settings), flat, flat, GRID, settings=settings)
    lake = shapely.Point(50, 80).buffer(25)
    assert shapely.union_all(draft.not_seen.geometry.to_numpy()).intersection(lake).area > 0.85 * lake.area
    assert np.isnan(draft.understorey[(EAST - 50) ** 2 + (NORTH - 80) ** 2 < 20**2]).all()
    assert of(draft, "401").area.sum() > 0.85 * (110 * 160 - lake.area)


def test_voids_are_larger_than_chance_leaves_empty():
    """Pulses at random leave no void, however few; a hole in the survey is one."""
    rng = np.random.default_rng(8)
    pulses = (rng.random((200, 200)) < 0.3).astype(np.float32)
    outside = np.zeros((200, 200), np.bool_)
    assert not voids(pulses, outside, cell_m=1.0, pulses_per_m2=0.3).any()
    pulses[50:90, 50:90] = 0
    assert voids(pulses, outside, cell_m=1.0, pulses_per_m2=0.3)[55:85, 55:85].all()


def test_the_density_of_the_survey_decides_of_voids_where_pulses_are_few() -> None:
    """A third of a pulse per square metre asks for wider circles; above 0.71 a field is the same in every survey."""
    assert void_radius_m(0.33) == pytest.approx(np.sqrt(20 / (np.pi * 0.33)))
    assert void_radius_m(0.72) == void_radius_m(9.0) == 3.0
    assert void_radius_m(0.0) == np.inf
