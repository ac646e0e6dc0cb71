"""Rough open land cut out of a stand is told by the forest along its edge."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import box

from pipeline.features import make_features
from pipeline.lattice.grid import Grid
from pipeline.vegetation.areas.owners import owners
from pipeline.vegetation.stands.felled import STRIP_SUMS, say_where_felled, strip_beside
from pipeline.vegetation.stands.stand_height import stand_height

GRID = Grid("EPSG:25832", 0, 200, 1.0, 200, 200)
EAST, NORTH = np.meshgrid(*GRID.centres())
CUT = box(60, 60, 140, 140)


def beside_pieces(
    areas: np.ndarray, pieces: np.ndarray, part_of: np.ndarray, stand: np.ndarray
) -> dict[str, np.ndarray]:
    """What stands beside pieces of areas."""
    return strip_beside(areas, owners(areas, pieces, part_of, GRID, GRID.bounds), part_of, stand, GRID)


def beside(canopy: np.ndarray) -> tuple[float, float]:
    """Share and height of the forest along the edge of the cut."""
    stand = stand_height(canopy.astype(np.float32), cell_m=1.0)
    areas = np.array([CUT], np.object_)
    found = beside_pieces(areas, areas, np.zeros(1, np.int64), stand)
    cells, forest, height_m = (float(found[name][0]) for name in STRIP_SUMS)
    return forest / cells, height_m / forest if forest else float("nan")


def around(height_m: float) -> np.ndarray:
    """A stand of one height all around the cut."""
    inside = (EAST > 60) & (EAST < 140) & (NORTH > 60) & (NORTH < 140)
    return np.where(inside, 0.0, height_m)


def test_a_stand_all_around_is_seen_with_its_height() -> None:
    """All of the edge, as high as the stand."""
    share, height_m = beside(around(20.0))
    assert share > 0.95
    assert height_m == pytest.approx(20, abs=1)


def test_forest_on_one_side_is_a_quarter_of_the_edge() -> None:
    """A field beside a wood is no felled area."""
    share, _ = beside(np.where(EAST > 140, 20.0, 0.0))
    assert share == pytest.approx(0.25, abs=0.06)


@pytest.mark.parametrize("height_m", [0.0, 4.0])
def test_low_growth_all_around_is_no_forest(height_m: float) -> None:
    """The negative control: fields and young growth."""
    share, height = beside(around(height_m))
    assert share == 0
    assert np.isnan(height)


def test_an_area_at_the_rim_of_the_survey_is_judged_by_what_is_seen() -> None:
    """The strip beyond the raster is left aside."""
    areas = np.array([box(0, 0, 30, 30), box(900, 900, 930, 930)], np.object_)
    found = beside_pieces(areas, areas, np.arange(2), np.full(GRID.shape, 15, np.float32))
    assert found["strip_cells"][0] == found["strip_forest"][0] > 0
    assert found["strip_cells"][1] == 0


def test_pieces_of_an_area_have_what_stands_beside_the_whole() -> None:
    """A cut through the middle adds no edge and loses none."""
    stand = stand_height(np.where(EAST + NORTH > 210, 20, 0).astype(np.float32), cell_m=1.0)
    areas = np.array([CUT], np.object_)
    halves = np.array([box(60, 60, 97, 140), box(97, 60, 140, 140)], np.object_)
    whole = beside_pieces(areas, areas, np.zeros(1, np.int64), stand)
    cut = beside_pieces(areas, halves, np.zeros(2, np.int64), stand)
    for name in STRIP_SUMS:
        assert cut[name].sum() == pytest.approx(whole[name][0])
        assert cut[name].min() > 0


@pytest.mark.parametrize(
    ("symbol", "height_m", "said"), [("403", 20.0, True), ("401", 20.0, False), ("403", 4.0, False)]
)
def test_only_rough_land_cut_out_of_forest_is_said_to_be_felled(symbol: str, height_m: float, said: bool) -> None:
    """A lawn in the forest, and rough land in young growth, are not."""
    areas = make_features([CUT], crs=GRID.crs, symbol=symbol, confidence=0.9, evidence="no trees")
    shapes = areas.geometry.to_numpy()
    stand = stand_height(around(height_m).astype(np.float32), cell_m=1.0)
    told = say_where_felled(areas, beside_pieces(shapes, shapes, np.zeros(1, np.int64), stand))
    assert ("perhaps felled" in told["evidence"].iloc[0]) == said
    assert areas["evidence"].iloc[0] == "no trees"
