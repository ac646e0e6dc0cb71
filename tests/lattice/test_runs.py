"""Sums and fits over runs of labels are those of counting labels one by one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage

from pipeline.lattice.runs import Runs, fitted


@given(labels=st.lists(st.integers(0, 6), max_size=40))
def test_sums_means_and_maxima_are_those_of_each_label(labels: list[int]) -> None:
    """Judge outside the project: scipy.ndimage, label by label; labels that do not occur get 0 or NaN."""
    label = np.sort(np.array(labels, np.int64))
    values = np.random.default_rng(len(labels)).normal(size=len(label))
    runs = Runs.of(label, 7)
    index = np.arange(7)
    occurs = np.isin(index, label)
    assert np.allclose(runs.sum(values), ndimage.sum_labels(values, label, index) if len(label) else 0)
    if occurs.any():
        assert np.allclose(runs.mean(values)[occurs], ndimage.mean(values, label, index[occurs]))
        assert np.allclose(runs.max(values)[occurs], ndimage.maximum(values, label, index[occurs]))
    assert np.all(runs.mean(values)[~occurs] == 0)
    assert np.isnan(runs.max(values)[~occurs]).all()


def test_a_fit_is_least_squares_of_each_label() -> None:
    """Judge outside the project: numpy.linalg.lstsq on the weighted values of each label."""
    rng = np.random.default_rng(3)
    label = np.sort(rng.integers(0, 4, 200))
    terms = np.stack((np.ones(200), rng.normal(size=200), rng.normal(size=200)))
    values, weight = rng.normal(size=200), rng.uniform(0.2, 1, 200)
    fits = Runs.of(label, 4).fit(terms, values, weight, ridge=1e-12)
    for one in range(4):
        own = label == one
        root = np.sqrt(weight[own])
        judge, *_ = np.linalg.lstsq(terms[:, own].T * root[:, None], values[own] * root, rcond=None)
        assert fits[one] == pytest.approx(judge, abs=1e-9)
    assert fitted(fits, terms, label) == pytest.approx(np.einsum("ij,ji->i", fits[label], terms))


def test_a_label_without_values_has_a_level_fit() -> None:
    """Nothing known, nothing tilted."""
    fits = Runs.of(np.array([1, 1, 1]), 3).fit(np.ones((1, 3)), np.array([1.0, 2, 3]), np.ones(3), ridge=0.0001)
    assert fits[:, 0] == pytest.approx([0, 2, 0], abs=1e-3)
