"""Single trees in open land are told from boulders, kept apart, and named by their height."""

from __future__ import annotations

import numpy as np

from pipeline.lattice.grid import Grid
from pipeline.vegetation.trees.trees import draw_trees, keep_apart, single_trees

GRID = Grid("EPSG:25832", 0, 100, 0.5, 120, 120)
EVERYWHERE = np.ones(GRID.shape, np.bool_)
EAST, NORTH = np.meshgrid(*GRID.centres())


def found_in(canopy: np.ndarray, through: np.ndarray | float = 0.3, where: np.ndarray = EVERYWHERE):
    """Crowns found in a canopy with eight pulses a cell."""
    pulses = np.full(GRID.shape, 8.0, np.float32)
    return single_trees(
        canopy.astype(np.float32),
        pulses,
        pulses * through,
        where,
        GRID,
        least_height_m=1.5,
    )


def dome(east: float, north: float, *, radius_m: float, height_m: float) -> np.ndarray:
    """A round crown, highest in its middle."""
    distance = np.hypot(EAST - east, NORTH - north)
    return np.where(distance <= radius_m, height_m * (1 - 0.3 * (distance / radius_m) ** 2), 0)


def test_a_tree_is_found_where_its_top_is():
    """Place, height and crown of one tree."""
    trees = found_in(dome(20.25, 20.25, radius_m=4, height_m=14))
    np.testing.assert_allclose(trees.place, [[20.25, 20.25]])
    np.testing.assert_allclose(trees.height_m, [14.0], rtol=1e-3)
    np.testing.assert_allclose(trees.crown_m, [8.0], atol=0.5)
    assert trees.n_tops.tolist() == [1]


def test_two_crowns_that_touch_are_a_copse():
    """One place in the midst of both, two tops."""
    pair = np.maximum(dome(20, 20, radius_m=4, height_m=12), dome(26, 20, radius_m=4, height_m=11))
    copse = found_in(pair)
    assert copse.n_tops.tolist() == [2]
    np.testing.assert_allclose(copse.place, [[23, 20]], atol=0.5)


def test_a_boulder_is_no_bush():
    """What lets no pulse through is rock."""
    boulder = dome(20, 20, radius_m=2, height_m=2)
    assert len(found_in(boulder, through=0.0).place) == 0
    assert len(found_in(boulder, through=0.3).place) == 1


def test_a_wood_is_no_tree_and_a_post_is_no_bush():
    """Too large and too small."""
    wood = np.where((EAST > 10) & (EAST < 40) & (NORTH > 60) & (NORTH < 90), 15.0, 0)
    post = np.where((abs(EAST - 50) < 0.5) & (abs(NORTH - 50) < 0.5), 3.0, 0)
    assert len(found_in(wood + post).place) == 0


def test_only_open_land_is_searched():
    """A crown in the forest is not single."""
    tree = dome(20, 80, radius_m=4, height_m=14)
    assert len(found_in(tree, where=EAST > 30).place) == 0


def drawn_in(canopy: np.ndarray, where: np.ndarray = EVERYWHERE) -> list[str]:
    """Symbols of the trees drawn in a canopy that lets three pulses of ten through."""
    pulses = np.full(GRID.shape, 8.0, np.float32)
    drawn = draw_trees(
        canopy.astype(np.float32), pulses, pulses * 0.3, where, GRID, bush_least_height_m=1.5, large_tree_height_m=8.0
    )
    return drawn["symbol"].tolist()


def test_a_tree_in_a_meadow_and_a_bush_by_itself_stand_out():
    """Open land on all sides."""
    assert drawn_in(dome(30, 20, radius_m=4, height_m=14)) == ["417"]
    assert drawn_in(dome(30, 20, radius_m=1.5, height_m=3)) == ["418"]


def test_a_tree_in_a_gap_of_the_forest_does_not_stand_out():
    """A gap of 8 m around it is open land, the ground beyond is forest."""
    tree = dome(30, 20, radius_m=3, height_m=14)
    assert drawn_in(tree, where=np.hypot(EAST - 30, NORTH - 20) < 11) == []


def test_a_crown_that_the_edge_of_the_survey_cuts_off_does_not_stand_out():
    """Beyond the survey may lie the wood that it belongs to; 12 m from the edge a tree is seen to stand alone."""
    assert drawn_in(dome(1, 20, radius_m=3, height_m=14)) == []
    assert drawn_in(dome(12, 20, radius_m=3, height_m=14)) == ["417"]


def test_a_block_of_rock_is_no_bush_though_cells_of_its_edge_let_pulses_through():
    """Within, no pulse reaches the ground; the cells around its foot hold ground as well."""
    away = np.hypot(EAST - 30, NORTH - 20)
    through = np.where(away <= 1.5, 0.0, 0.6)
    pulses = np.full(GRID.shape, 8.0, np.float32)
    block = dome(30, 20, radius_m=2.0, height_m=4)
    assert len(found_in(block, through=through).place) == 0
    assert len(found_in(block, through=0.3).place) == 1
    assert (pulses * through)[away <= 2.0].sum() > 0.05 * pulses[away <= 2.0].sum()


def test_a_crown_of_a_few_pulses_is_not_believed():
    """In a survey of one pulse on 4 m2 a bush 3 m wide met two of them."""
    for per_cell, n_found in ((2 / 28, 0), (1.0, 1)):
        pulses = np.full(GRID.shape, per_cell, np.float32)
        bush = dome(30, 20, radius_m=1.5, height_m=3).astype(np.float32)
        found = single_trees(bush, pulses, pulses * 0.3, EVERYWHERE, GRID, least_height_m=1.5)
        assert len(found.place) == n_found


def test_a_piece_of_a_hedge_is_no_bush():
    """A hedge with gaps of 2 m every 4 m is growth in a row, and none of its pieces prominent."""
    hedge = np.where((abs(NORTH - 20) < 1) & (EAST % 6 < 4), 2.2, 0)
    assert drawn_in(hedge) == []


def test_nothing_in_an_empty_meadow():
    """The negative control."""
    assert len(found_in(np.zeros(GRID.shape)).place) == 0
    assert len(found_in(np.full(GRID.shape, np.nan)).place) == 0


def test_of_crowded_trees_the_tallest_is_kept():
    """No two nearer than the symbol is wide; the order of the table does not matter."""
    place = np.array([[0.0, 0.0], [5.0, 0.0], [30.0, 0.0]])
    height = np.array([8.0, 12.0, 5.0])
    assert keep_apart(place, height, least_m=13.5).tolist() == [1, 2]
    assert keep_apart(place[::-1], height[::-1], least_m=13.5).tolist() == [0, 1]
