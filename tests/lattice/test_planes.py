"""Weighted planes through neighbours, many at a time."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.lattice.planes import weighted_plane


def stack() -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """x, y, z and weight of 12 neighbours of 20 places, some without weight."""
    rng = np.random.default_rng(6)
    x, y = rng.uniform(-3, 3, (2, 12, 20))
    weight = rng.random(x.shape) * (rng.random(x.shape) < 0.8)
    return x, y, 0.4 * x - 0.2 * y + rng.normal(0, 0.3, x.shape), weight


@pytest.mark.parametrize(("ease", "ease_share"), [(0.0, 0.0), (0.5, 0.0), (1e-9, 0.3)])
def test_planes_are_weighted_least_squares(ease: float, ease_share: float) -> None:
    """Judge outside the project: numpy.linalg.lstsq, place by place.

    What is added to the variances is one more equation for each slope, that it be 0, with that weight.
    """
    x, y, z, weight = stack()
    fit = weighted_plane(x, y, z, weight, over=(0,), ease=ease, ease_share=ease_share)
    for at in range(x.shape[1]):
        total = weight[:, at].sum()
        spread = (weight[:, at] * (x[:, at] ** 2 + y[:, at] ** 2)).sum() / total
        drawn = np.sqrt(total * (ease + ease_share * spread))
        root = np.sqrt(weight[:, at])
        terms = root[:, None] * np.column_stack((np.ones(12), x[:, at], y[:, at]))
        terms = np.vstack((terms, [[0, drawn, 0], [0, 0, drawn]]))
        expected = np.linalg.lstsq(terms, np.append(root * z[:, at], [0, 0]), rcond=None)[0]
        np.testing.assert_allclose([part[at] for part in fit], expected, atol=1e-9)


def test_neighbours_may_run_over_several_axes() -> None:
    """The same neighbours, laid out as windows of 3 by 4 cells, give the same planes."""
    flat = stack()
    windows = [part.T.reshape(20, 3, 4) for part in flat]
    for one, other in zip(
        weighted_plane(*flat, over=(0,), ease=0.1), weighted_plane(*windows, over=(1, 2), ease=0.1), strict=True
    ):
        np.testing.assert_allclose(one, other)


def test_neighbours_in_a_row_do_not_tip_the_plane() -> None:
    """All on the x axis: the slope across is 0, as nothing is known of it; no weight at all gives a level plane."""
    x = np.linspace(-2, 2, 9)[:, None] * np.ones(2)
    weight = np.column_stack((np.ones(9), np.zeros(9)))
    fit = weighted_plane(x, np.zeros_like(x), 3 + 0.5 * x, weight, over=(0,), ease=1e-6)
    np.testing.assert_allclose(np.array(fit), [[3, 0], [0.5, 0], [0, 0]], atol=1e-5)
