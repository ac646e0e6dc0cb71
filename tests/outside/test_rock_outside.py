"""Rock against what is published elsewhere: the figures of ISOM 2017-2, reference libraries and a reference method."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.measure import EllipseModel
from skimage.morphology import disk, white_tophat

from pipeline.lattice.grid import Grid
from pipeline.lattice.per_cell import lowest_in_cells
from pipeline.norm.symbols import isom
from pipeline.returns.cloud import Cloud
from pipeline.rock.boulders.boulders import find_boulders
from pipeline.rock.boulders.discs import roughness_at
from pipeline.rock.boulders.lumps import outline_of
from pipeline.rock.ground.pits import MAX_WIDTH_M


def test_heights_and_sizes_are_those_of_isom_2017_2() -> None:
    """ISOM 2017-2: 202 from 1 m and 0.6 mm, 203.1 1 m deep and under 5 m, 204 from 1 m, 205 over 2 m, 206 0.25 mm."""
    assert [isom(number).smallest.height_m for number in ("202", "203.1", "204", "205")] == [1.0, 1.0, 1.0, 2.0]
    assert [isom(number).smallest.length_m for number in ("201", "202")] == pytest.approx([9.0, 9.0])
    assert isom("206").smallest.width_m == pytest.approx(3.75)
    assert isom("206").smallest.area_m2 == pytest.approx(0.3 * 15**2)
    assert MAX_WIDTH_M == 5.0


def test_roughness_is_the_residual_of_least_squares() -> None:
    """The residual from separable projections equals numpy's least squares on the six monomials (LAPACK gelsd)."""
    rng = np.random.default_rng(4)
    height = rng.normal(0, 1, (15, 15)).astype(np.float32)
    row, col = (index.ravel() for index in np.indices(height.shape))
    rms, mean = (values.reshape(height.shape) for values in roughness_at(height, row, col, 3))
    window = height[4:11, 4:11].astype(float)
    y, x = np.mgrid[-3:4, -3:4].astype(float)
    terms = np.column_stack([v.ravel() for v in (np.ones_like(x), x, y, x * x, x * y, y * y)])
    left = window.ravel() - terms @ np.linalg.lstsq(terms, window.ravel(), rcond=None)[0]
    assert rms[7, 7] == pytest.approx(np.sqrt((left**2).sum() / (49 - 6)), rel=1e-3)
    assert mean[7, 7] == pytest.approx(window.mean(), abs=1e-4)


def test_the_outline_of_moments_agrees_with_scikit_image() -> None:
    """Half axes from moments of a filled ellipse agree with scikit-image's ellipse fitted to its rim."""
    turn = np.linspace(0, 2 * np.pi, 60)
    rim = np.column_stack((3 * np.cos(turn) + 1, 1.5 * np.sin(turn) + 2))
    a, b = EllipseModel.from_estimate(rim).axis_lengths
    rng = np.random.default_rng(1)
    places = rng.uniform(-4, 6, (40000, 2))
    inside = ((places[:, 0] - 1) / 3) ** 2 + ((places[:, 1] - 2) / 1.5) ** 2 < 1
    east, north = places[inside].T
    _, _, shape = outline_of(np.zeros(len(east), np.int64), east, north, 1)
    axes = np.sqrt(np.linalg.eigvalsh(shape[0]))
    assert axes == pytest.approx(sorted((a, b)), rel=0.03)


def test_heights_agree_with_the_white_top_hat() -> None:
    """On level ground the classic detector, a white top-hat of the grid (Meyer 1979, scikit-image's), gives our height.

    It knows no bushes and fails on slopes, so it is a reference for height and place only.
    """
    rng = np.random.default_rng(6)
    en = rng.uniform(0, 60, (8 * 3600, 2))
    d = np.hypot(en[:, 0] - 30, en[:, 1] - 30) / 1.6
    over = 1.8 * np.sqrt(np.clip(1 - d**2, 0, None))
    height = 100 + over + rng.normal(0, 0.02, len(en))
    core = Grid.covering((10, 10, 50, 50), cell_m=0.5, crs="EPSG:25833")
    cloud = Cloud.of(np.column_stack((en, height)))
    table = find_boulders(cloud, np.ones(len(en), np.uint8), over.astype(np.float32), core)
    best = table.loc[table.confidence.idxmax()]
    lowest = lowest_in_cells(core.cell_index(en[:, 0], en[:, 1]), height, core.shape)
    hat = white_tophat(np.nan_to_num(lowest, nan=100.0), disk(9))
    row, col = np.unravel_index(int(hat.argmax()), hat.shape)
    east, north = core.centres()
    assert best.height_m == pytest.approx(float(hat.max()), abs=0.25)
    assert np.hypot(best.geometry.x - east[col], best.geometry.y - north[row]) < 1.0
