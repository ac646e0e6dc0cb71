"""Areas as a mapper would draw them: no overlaps, no slivers, none too small, edges smooth."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from pipeline.lattice.grid import Grid
from pipeline.vegetation.areas.kinds import MIN_AREA_OF_KIND_M2
from pipeline.vegetation.areas.merging import connected_areas
from pipeline.vegetation.areas.mosaic import settle_kinds
from pipeline.vegetation.areas.outlines import polygons_of

GRID = Grid("EPSG:25832", 100, 300, 1.0, 120, 120)


def patchy(seed: int) -> np.ndarray:
    """A random patchwork of four bands with many small patches."""
    rng = np.random.default_rng(seed)
    field = ndimage.gaussian_filter(rng.normal(size=GRID.shape), 4)
    return np.digitize(field / field.std(), (-0.3, 0.5, 1.2)).astype(np.int16)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**16))
def test_areas_cover_the_ground_once_and_none_is_too_small(seed: int):
    """Polygons neither overlap nor part, are valid, and hold at least the standard's smallest area."""
    kinds = settle_kinds(patchy(seed), cell_m=1.0)
    polygons, kind = polygons_of(kinds, GRID, smooth_m=2.0, min_area_m2=MIN_AREA_OF_KIND_M2)
    assert shapely.is_valid(polygons).all()
    assert shapely.area(polygons).sum() == pytest.approx(120 * 120)
    assert shapely.area(shapely.union_all(polygons)) == pytest.approx(120 * 120)
    assert (shapely.area(polygons) >= MIN_AREA_OF_KIND_M2[kind] - 1e-6).all()


def test_without_settling_there_are_areas_too_small():
    """The control: the raw patchwork breaks the rule the test above holds."""
    region, kind_of = connected_areas(patchy(3))
    size = np.bincount(region.ravel())
    assert (size[1:] < MIN_AREA_OF_KIND_M2[kind_of[1:]]).any()


def test_edges_are_smooth_and_stay_within_two_cells():
    """A disc of cells comes back as a round shape, not as stairs: no corner sharper than 60 degrees."""
    east, north = np.meshgrid(*GRID.centres())
    disc = shapely.Point(160, 240).buffer(40)
    kinds = ((east - 160) ** 2 + (north - 240) ** 2 < 40**2).astype(np.int16)
    polygons, kind = polygons_of(kinds, GRID, smooth_m=2.0, min_area_m2=MIN_AREA_OF_KIND_M2)
    (found,) = polygons[kind == 1]
    assert found.symmetric_difference(disc).area < 2.0 * disc.length
    steps = np.diff(np.array(found.exterior.coords), axis=0)
    heading = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    assert np.degrees(np.abs(np.diff(heading))).max() < 60


def test_straight_edges_stay_straight():
    """A square field keeps its corners within a few metres."""
    kinds = np.zeros(GRID.shape, np.int16)
    kinds[20:100, 20:100] = 1
    polygons, kind = polygons_of(kinds, GRID, smooth_m=2.0, min_area_m2=MIN_AREA_OF_KIND_M2)
    (field,) = polygons[kind == 1]
    assert field.hausdorff_distance(shapely.box(120, 200, 200, 280)) < 2.0


def test_the_rim_of_the_survey_stays():
    """One kind everywhere gives the rectangle of the grid."""
    polygons, _ = polygons_of(np.zeros(GRID.shape, np.int16), GRID, smooth_m=2.0, min_area_m2=MIN_AREA_OF_KIND_M2)
    assert polygons[0].equals(shapely.box(*GRID.bounds))


def test_cells_outside_are_no_area():
    """Where there is no survey there is no polygon."""
    polygons, _ = polygons_of(np.full(GRID.shape, -1, np.int16), GRID, smooth_m=2.0, min_area_m2=MIN_AREA_OF_KIND_M2)
    assert len(polygons) == 0
