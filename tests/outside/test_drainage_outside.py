"""Drainage judged by a library that has no part in it: pysheds (Bartos 2020)."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.water.drainage.drainage import drain, gathered
from pipeline.water.wet.marsh import AROUND_M, LEAST_SLOPE, smooth_slope, wetness_index

pysheds_grid = pytest.importorskip("pysheds.grid", reason="pysheds is not installed; it is among the test extra")
pysheds_view = pytest.importorskip("pysheds.view")

CELL_M = 2.0
CHANNEL_CELLS = 250
"""Cells that drain to one from which it is a channel: 0.1 ha."""


def hills(seed: int) -> NDArray[np.float64]:
    """A slope of 6 % with hills of 12 to 120 m across, 500 m wide, with hollows among them."""
    random = np.random.default_rng(seed)
    sizes = (3.0, 8.0, 25.0)
    parts = [ndimage.gaussian_filter(random.normal(size=(250, 250)), size) for size in sizes]
    rough = sum(0.12 * size * part / part.std() for size, part in zip(sizes, parts, strict=True))
    return np.asarray(100 + 0.12 * np.arange(250)[:, None] + rough, np.float64)


def judged(heights: NDArray[np.float64], monkeypatch: pytest.MonkeyPatch) -> NDArray[np.float64]:
    """Cells that drain to each, as pysheds has it: hollows filled, flats resolved, steepest of eight directions."""
    # pysheds 0.5 still calls a function that NumPy 2.4 has dropped for `isin`.
    monkeypatch.setattr(np, "in1d", np.isin, raising=False)
    view = pysheds_view.ViewFinder(
        affine=Affine(CELL_M, 0, 0, 0, -CELL_M, 0), shape=heights.shape, nodata=np.float64(-9999)
    )
    grid = pysheds_grid.Grid(viewfinder=view)
    filled = grid.fill_depressions(grid.fill_pits(pysheds_view.Raster(heights, viewfinder=view)))
    return np.asarray(grid.accumulation(grid.flowdir(grid.resolve_flats(filled))), np.float64)


def test_channels_lie_where_pysheds_has_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of cells to which 0.1 ha and more drain 95 in 100 lie within two cells of those of the other, both ways.

    Counted on five grounds together, 10 m inside the rim, as pysheds leads water along it and this project out of it.
    """
    inner = np.s_[5:-5, 5:-5]
    ours_hit, theirs_hit = [], []
    for seed in range(5):
        heights = hills(seed)
        ours = gathered(drain(heights)).reshape(heights.shape) >= CHANNEL_CELLS
        theirs = judged(heights, monkeypatch) >= CHANNEL_CELLS
        near_ours, near_theirs = (ndimage.maximum_filter(cells, 5)[inner] for cells in (ours, theirs))
        ours_hit.append(near_theirs[ours[inner]])
        theirs_hit.append(near_ours[theirs[inner]])
    assert np.concatenate(ours_hit).mean() >= 0.95
    assert np.concatenate(theirs_hit).mean() >= 0.95


def test_wetness_is_what_pysheds_makes_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """With what pysheds gathers it correlates by 0.9, and 9 in 10 of the wettest tenth lie within two cells."""
    heights = hills(9)
    cells = round(AROUND_M / CELL_M / 2) * 2 + 1
    breadth = ndimage.uniform_filter(judged(heights, monkeypatch) * CELL_M, cells, mode="nearest")
    inner = np.s_[10:-10, 10:-10]
    theirs = np.log(breadth / np.maximum(smooth_slope(heights, CELL_M), LEAST_SLOPE))[inner]
    ours = wetness_index(
        heights, (gathered(drain(heights)) * CELL_M**2).astype(np.float64).reshape(heights.shape), CELL_M
    )[inner]
    assert np.corrcoef(ours.ravel(), theirs.ravel())[0, 1] >= 0.9
    wet_ours, wet_theirs = (index >= np.quantile(index, 0.9) for index in (ours, theirs))
    assert ndimage.maximum_filter(wet_theirs, 5)[wet_ours].mean() >= 0.9
    assert ndimage.maximum_filter(wet_ours, 5)[wet_theirs].mean() >= 0.9
