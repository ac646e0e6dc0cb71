"""Means of the known cells in a window."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from pipeline.lattice.means import Known, Rim, gaussian_window, square_window

PAD_MODES = {"constant": "constant", "nearest": "edge", "reflect": "symmetric"}
"""The rims in NumPy's words."""


def patchy() -> tuple[np.ndarray, np.ndarray]:
    """Values with NaN where they are unknown, and which are known."""
    rng = np.random.default_rng(2)
    values = rng.normal(5, 2, (25, 31))
    known = rng.random(values.shape) < 0.6
    return np.where(known, values, np.nan), known


def widened(values: np.ndarray, reach: int, rim: Rim) -> np.ndarray:
    """The grid with what the window finds beyond its rim; nothing is NaN."""
    beyond = {"constant_values": np.nan} if rim == "constant" else {}
    return np.pad(values, reach, mode=PAD_MODES[rim], **beyond)


@pytest.mark.parametrize("rim", ["constant", "nearest", "reflect"])
def test_a_square_window_gives_numpy_s_mean_of_what_is_known(rim: Rim) -> None:
    """Judge outside the project: numpy.nanmean over every window."""
    values, known = patchy()
    windows = np.lib.stride_tricks.sliding_window_view(widened(values, 3, rim), (7, 7))
    found = Known.of(known, square_window(7, rim=rim))
    np.testing.assert_allclose(found.mean(values), np.nanmean(windows, axis=(2, 3)))
    np.testing.assert_allclose(found.share, np.isfinite(windows).mean(axis=(2, 3)))


@pytest.mark.parametrize("truncate", [2.0, 4.0])
@pytest.mark.parametrize("rim", ["constant", "nearest", "reflect"])
def test_a_gaussian_window_weighs_what_is_known_by_the_bell(rim: Rim, truncate: float) -> None:
    """Judge outside the project: scipy.signal's bell and convolution, weighted sums over sums of weights."""
    values, known = patchy()
    reach = int(truncate * 1.5 + 0.5)
    bell = np.outer(*[signal.windows.gaussian(2 * reach + 1, 1.5)] * 2)
    wide = widened(values, reach, rim)
    sums = [signal.convolve2d(part, bell, mode="valid") for part in (np.nan_to_num(wide), np.isfinite(wide))]
    found = Known.of(known, gaussian_window(1.5, rim=rim, truncate=truncate))
    np.testing.assert_allclose(found.mean(values), sums[0] / sums[1])
    np.testing.assert_allclose(found.share, sums[1] / bell.sum())


def test_unknown_values_do_not_count_and_too_little_known_fades() -> None:
    """Whatever stands in unknown cells, even infinite; with a least share of a half a corner of ones is below one."""
    values = np.ones((9, 9), np.float32)
    known = np.zeros(values.shape, bool)
    known[:3, :3] = True
    values[~known] = np.inf
    around = Known.of(known, square_window(3, rim="reflect"), dtype=np.float32)
    mean = around.mean(values)
    assert mean.dtype == around.share.dtype == np.float32
    np.testing.assert_allclose(mean[around.share > 0.01], 1, rtol=1e-5)
    faded = around.mean(values, least_share=0.5)
    np.testing.assert_allclose(faded, np.minimum(around.share / 0.5, 1), atol=1e-6)
    assert mean[8, 8] == 0
