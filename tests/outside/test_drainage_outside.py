"""Drainage judged by a library that has no part in it: pysheds (Bartos 2020)."""

from __future__ import annotations

from collections.abc import Sequence

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


def hills(seed: int, *, slope: float = 0.06) -> NDArray[np.float64]:
    """A slope with hills of 12 to 120 m across, 500 m wide; at 6 % with hollows among them, at 12 % with few."""
    random = np.random.default_rng(seed)
    sizes = (3.0, 8.0, 25.0)
    parts = [ndimage.gaussian_filter(random.normal(size=(250, 250)), size) for size in sizes]
    rough = sum(0.12 * size * part / part.std() for size, part in zip(sizes, parts, strict=True))
    return np.asarray(100 + slope * CELL_M * np.arange(250)[:, None] + rough, np.float64)


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


def agreement(
    monkeypatch: pytest.MonkeyPatch, *, slope: float, channel_cells: Sequence[int]
) -> list[tuple[float, float]]:
    """Share of our channel cells within two cells of one of pysheds, and of its within two of ours, by their size.

    Counted on five grounds together, 10 m inside the rim, as pysheds leads water along it and this project out of it.
    """
    inner = np.s_[5:-5, 5:-5]
    grounds = [hills(seed, slope=slope) for seed in range(5)]
    led = [(gathered(drain(ground)).reshape(ground.shape), judged(ground, monkeypatch)) for ground in grounds]
    found = []
    for least in channel_cells:
        hits: tuple[list[NDArray[np.bool_]], list[NDArray[np.bool_]]] = ([], [])
        for both in led:
            ours, theirs = (cells >= least for cells in both)
            hits[0].append(ndimage.maximum_filter(theirs, 5)[inner][ours[inner]])
            hits[1].append(ndimage.maximum_filter(ours, 5)[inner][theirs[inner]])
        found.append((float(np.concatenate(hits[0]).mean()), float(np.concatenate(hits[1]).mean())))
    return found


def test_channels_lie_where_pysheds_has_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of cells to which 0.1 ha and more drain 95 in 100 lie within two cells of those of the other, both ways."""
    ((ours_near, theirs_near),) = agreement(monkeypatch, slope=0.06, channel_cells=[CHANNEL_CELLS])
    assert ours_near >= 0.95
    assert theirs_near >= 0.95


def test_larger_channels_lie_where_pysheds_has_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same for 0.5, 1 and 2 ha where few hollows lie on the way.

    Among many hollows fewer agree: on the slope of 6 % 0.94, 0.91 and 0.84 of ours. Each hollow is left by its lowest
    bed here and straight over its filled surface there, and one that is left on another side takes a stream with it.
    """
    for ours_near, theirs_near in agreement(monkeypatch, slope=0.12, channel_cells=[1250, 2500, 5000]):
        assert ours_near >= 0.95
        assert theirs_near >= 0.95


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
