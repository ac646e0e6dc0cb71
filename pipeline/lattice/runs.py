"""Sums and fits over runs of equal labels: returns listed lump by lump, so that each lump is one stretch of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.compiled import compiled

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]


@dataclass(frozen=True)
class Runs:
    """Where each label begins among sorted labels; adding up stretches is several times quicker than counting labels.

    Attributes
    ----------
    label : (n,) sorted
    start : (m,) place of the first of each label that occurs
    k : number of labels, those that do not occur among them
    """

    label: Labels
    start: Labels
    k: int

    @classmethod
    def of(cls, label: Labels, k: int, /) -> Runs:
        """The runs of sorted labels 0 to k - 1."""
        return cls(label, np.flatnonzero(np.diff(label, prepend=-1)), k)

    def sum(self, values: Floats, /) -> Floats:
        """(k,) sum of each label's values; 0 where it has none."""
        return self._spread(np.add.reduceat(values, self.start), 0.0) if len(self.start) else np.zeros(self.k)

    def mean(self, values: Floats, /) -> Floats:
        """(k,) mean of each label's values; 0 where it has none."""
        mean: Floats = self.sum(values) / np.maximum(np.bincount(self.label, minlength=self.k), 1)
        return mean

    def max(self, values: Floats, /) -> Floats:
        """(k,) largest of each label's values; NaN where it has none."""
        if not len(self.start):
            return np.full(self.k, np.nan)
        return self._spread(np.maximum.reduceat(values, self.start), np.nan)

    def fit(self, terms: Floats, values: Floats, weight: Floats, /, *, ridge: float) -> Floats:
        """(k, m) weighted least squares of each label's values by m terms, the first of them 1.

        A light ridge on all but the mean keeps few values from tilting it.

        Parameters
        ----------
        terms : (m, n)
        """
        m = len(terms)
        weights = self.sum(weight)
        mean = self.sum(values * weight) / np.maximum(weights, 1e-9)
        normal, right = np.zeros((self.k, m, m)), np.zeros((self.k, m))
        normal[:, 0, 0] = weights
        _add_normal(normal, right, self.label, np.ascontiguousarray(terms), values - mean[self.label], weight)
        normal += np.eye(m) * ridge
        solved: Floats = np.asarray(np.linalg.solve(normal, right[..., None])[..., 0], np.float64)
        solved[:, 0] += mean
        return solved

    def _spread(self, values: Floats, empty: float) -> Floats:
        """(k,) one value for each label, from those of the labels that occur."""
        spread = np.full(self.k, empty)
        spread[self.label[self.start]] = values
        return spread


def fitted(coefficients: Floats, terms: Floats, label: Labels, /) -> Floats:
    """(n,) what fits (k, m) give at places with these terms (m, n) and labels (n,)."""
    return _fitted(np.ascontiguousarray(coefficients), np.ascontiguousarray(terms), label)


@compiled
def _fitted(coefficients: Floats, terms: Floats, label: Labels) -> Floats:
    """As `fitted`."""
    total = np.zeros(len(label))
    for term in range(len(terms)):
        for i in range(len(label)):
            total[i] += coefficients[label[i], term] * terms[term, i]
    return total


@compiled
def _add_normal(
    normal: NDArray[np.float64], right: Floats, label: Labels, terms: Floats, left: Floats, weight: Floats
) -> None:
    """Add every value to the normal equations of its label: (k, m, m) and (k, m), all but `normal[:, 0, 0]`."""
    m = len(terms)
    for i in range(len(label)):
        of, heavy, rest = label[i], weight[i], left[i] * weight[i]
        right[of, 0] += rest
        for a in range(1, m):
            right[of, a] += terms[a, i] * rest
            weighted = terms[a, i] * heavy
            normal[of, 0, a] += weighted
            for b in range(a, m):
                normal[of, a, b] += weighted * terms[b, i]
    for of in range(len(normal)):
        for a in range(m):
            for b in range(a):
                normal[of, a, b] = normal[of, b, a]
