"""A map that lies off lidar and is stretched, laid where lidar shows it."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.refresh.stretch.pairs import places_of
from pipeline.refresh.stretch.stretch import by_square, find_stretch, off_at
from tests.refresh.edited import CRS, true_features


def off_by(places: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far the made map lies off at places: 4.5 m on the whole, and waves of 1.5 m."""
    waves = np.column_stack([np.sin(places[:, 1] / 120), np.cos(places[:, 0] / 140)])
    off: NDArray[np.float64] = np.array([3.6, -2.7]) + 1.5 * waves
    return off


def drawn(truth: gpd.GeoDataFrame, seed: int) -> gpd.GeoDataFrame:
    """A map of three quarters of it, off and stretched; each feature is off by itself, every eighth by 20 m."""
    random = np.random.default_rng(seed)
    chosen = truth[random.random(len(truth)) < 0.75].reset_index(drop=True)
    errors = random.normal(0, 0.5, (len(chosen), 2))
    errors[::8] += random.normal(0, 20, errors[::8].shape)
    shapes = [_off(shape, error) for shape, error in zip(chosen.geometry, errors, strict=True)]
    return chosen.set_geometry(gpd.GeoSeries(shapes, crs=CRS))


def _off(shape: BaseGeometry, error: NDArray[np.float64]) -> BaseGeometry:
    return shapely.transform(shape, lambda places: places - off_by(places) + error)


def test_shift_and_stretch_of_a_map_are_found() -> None:
    """Of 4.5 m and waves of 1.5 m less than half a metre is left, and the stated error is honest."""
    truth = true_features(11, 300)
    old = drawn(truth, 1)
    found = find_stretch(old, truth)
    places = places_of(old).at
    left = np.hypot(*(off_at(found.off, found.corner, places) - off_by(places)).T)
    assert found.is_found
    assert np.median(left) < 0.5
    assert np.median(left) < 1.5 * found.shift.error_m
    assert found.after_m < 0.5 * found.before_m
    assert all(abs(square["off_east_m"] - 3.6) < 2.5 for square in by_square(found))


def test_a_map_that_lies_right_is_left_there() -> None:
    """Where nothing is off, nothing is moved by more than its error."""
    truth = true_features(12, 300)
    found = find_stretch(truth, truth)
    assert np.hypot(found.off[..., 0], found.off[..., 1]).max() < 0.2


def test_a_map_of_another_place_is_not_forced() -> None:
    """Features that have nothing to do with the draft give no shift, and the map is compared as it lies."""
    found = find_stretch(true_features(1, 60), true_features(2, 60))
    shapes = true_features(1, 60).geometry.to_numpy()
    assert not found.is_found
    assert "not found" in found.shift.how
    assert list(found.laid(shapes)) == list(shapes)


def test_a_map_larger_than_the_new_tiles_is_found_there() -> None:
    """What the map shows beyond them has nothing like it in the draft, and counts neither for nor against it."""
    truth = true_features(11, 900)
    west, south, _, _ = truth.total_bounds
    tile = shapely.box(west, south, west + 220, south + 220)
    part = truth[truth.within(tile)].reset_index(drop=True)
    found = find_stretch(drawn(truth, 1), part)
    inside = found.places[shapely.contains_xy(tile, *found.places.T)]
    assert found.is_found
    assert np.median(np.hypot(*(off_at(found.off, found.corner, inside) - off_by(inside)).T)) < 1.0
