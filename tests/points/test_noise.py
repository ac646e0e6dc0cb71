"""Noise: lone returns far below and above everything else."""

from __future__ import annotations

import numpy as np

from pipeline.points.noise import Noise, find_noise
from tests.terrain_clouds import returns_from, slope_of


def noise_of(enh: np.ndarray, producer_class: np.ndarray | None = None) -> Noise:
    """Noise among returns whose producer marked the given classes."""
    marked = np.zeros(len(enh), np.uint8) if producer_class is None else producer_class
    return find_noise(enh, marked)


def test_clean_slope_has_no_noise() -> None:
    """A bare slope, sparse or dense, holds none (negative control)."""
    for per_m2 in (0.2, 4.0):
        noise = noise_of(returns_from(slope_of(0.5), 60, per_m2=per_m2))
        assert not noise.is_low.any()
        assert not noise.is_high.any()


def test_return_one_kilometre_up_is_high_noise() -> None:
    """A return 1 km above the ground, and a bird at 60 m, are high noise; nothing else is."""
    enh = returns_from(slope_of(0.2), 60)
    enh[[10, 20], 2] += (1000.0, 60.0)
    noise = noise_of(enh)
    assert np.flatnonzero(noise.is_high).tolist() == [10, 20]
    assert not noise.is_low.any()


def test_return_far_below_is_low_noise() -> None:
    """A return 25 m below the ground is low noise."""
    enh = returns_from(slope_of(0.2), 60)
    enh[10, 2] -= 25.0
    assert np.flatnonzero(noise_of(enh).is_low).tolist() == [10]


def test_producer_s_noise_is_kept() -> None:
    """Returns that came as class 7 or 18 are noise wherever they lie (ASPRS LAS 1.4 R15, table 17)."""
    enh = returns_from(slope_of(0.0), 30)
    marked = np.zeros(len(enh), np.uint8)
    marked[[3, 4]] = (7, 18)
    noise = noise_of(enh, marked)
    assert np.flatnonzero(noise.is_low).tolist() == [3]
    assert np.flatnonzero(noise.is_high).tolist() == [4]


def test_top_of_a_lone_tree_is_no_noise() -> None:
    """A tree whose returns reach down to the ground is supported up to its top."""
    enh = returns_from(slope_of(0.0), 60)
    tree = np.column_stack((np.full(40, 30.2), np.full(40, 30.3), np.linspace(100.5, 125.0, 40)))
    assert not noise_of(np.vstack((enh, tree))).is_high.any()
