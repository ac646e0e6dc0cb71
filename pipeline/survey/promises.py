"""What share of each kind of feature a draft finds, and what share of those it draws is there, as measured.

Both fall where few returns reach the ground, for want of pulses or under dense crowns, where it is steep and where it
is restless. The tables come from drafts of places with known truth; a survey is promised what was measured on ground
like its own, as a range, and nothing on ground whose like was not measured.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import scipy  # its parts take long to import and come when they are first used, in most runs never
from numpy.typing import NDArray

from pipeline.errors import SettingsError
from pipeline.survey.squares import KINDS_OF_GROUND, Squares

Numbers = NDArray[np.float64]

GROUND_PER_M2 = (0.2, 0.5, 1.0, 2.0, 4.0)
"""Ground returns a square metre that part the classes of a table: 2.2, 1.4, 1, 0.7 and 0.5 m apart."""
EFFECT_DOUBT, MEAN_DOUBT = 1.0, 0.01
"""How firmly the effect of a density or of a kind of ground on the logarithm of the odds, and their mean, are held to
0: one over the square of what they may well be. A class with few cases of its own is then taken to be like the others.
Our choice."""
NO_CASE = 1e-6
"""Weight of a class without cases, when the effects of density are made to rise."""
STEPS, LONGEST_STEP, STANDS_STILL = 40, 2.0, 1e-6
"""Most of Newton's steps, the most that one may change an effect, and the least: then the effects stand still."""
SHARES = ("found", "right")
"""What a table tells: share of the true features that are found, share of the drawn features that are there."""
LEAST_CASES = 20.0
"""Fewer cases on ground of a kind are no measurement: nothing is promised there. Our choice."""
LEAST_PLACES = 3
"""From fewer places nothing is promised elsewhere. Our choice."""
USUAL_SPREAD = 1.0
"""One sigma of the logarithm of the odds by which a place differs from what the others promise, where few places tell:
of half, a quarter or three quarters come true. It counts for PRIOR_SCENES places. Our choice."""
PRIOR_SCENES = 2.0
EIGHT_IN_TEN = 1.28
"""Standard deviations either side of the mean within which a normal value lies eight times in ten."""


@dataclass(frozen=True)
class Counts:
    """Cases by the ground they lie on.

    Attributes
    ----------
    hits, cases : (len(GROUND_PER_M2) + 1, len(KINDS_OF_GROUND)) float64
        How many were found, or right, of how many, by class of density and by kind of ground.
    """

    hits: Numbers
    cases: Numbers

    @classmethod
    def total(cls, parts: Iterable[Counts]) -> Counts:
        """All cases together."""
        nothing = np.zeros((len(GROUND_PER_M2) + 1, len(KINDS_OF_GROUND)))
        both = [(part.hits, part.cases) for part in parts]
        return cls(sum((hits for hits, _ in both), nothing.copy()), sum((cases for _, cases in both), nothing.copy()))

    def odds(self) -> Numbers:
        """The logarithm of the odds in each class, as the sum of a mean, of its density's effect and of its ground's.

        There are too few cases for each density on each ground, so each is taken to act by itself: a logistic
        regression whose effects are held to 0. More returns are never taken to find less: where the measurement says
        so it is chance.
        """
        n_density, n_ground = self.cases.shape
        design = np.hstack(
            (
                np.ones((n_density * n_ground, 1)),
                np.repeat(np.eye(n_density), n_ground, axis=0),
                np.tile(np.eye(n_ground), (n_density, 1)),
            )
        )
        hits, cases = self.hits.ravel(), self.cases.ravel()
        doubt = np.array([MEAN_DOUBT] + [EFFECT_DOUBT] * (n_density + n_ground))
        effect = np.zeros(len(doubt))
        for _ in range(STEPS):
            share = scipy.special.expit(design @ effect)
            slope = design.T @ (hits - cases * share) - doubt * effect
            bend = (design.T * (cases * share * (1 - share))) @ design + np.diag(doubt)
            step = np.clip(np.linalg.solve(bend, slope), -LONGEST_STEP, LONGEST_STEP)
            effect += step
            if np.abs(step).max() < STANDS_STILL:
                break
        rising = scipy.optimize.isotonic_regression(effect[1 : n_density + 1], weights=self.cases.sum(axis=1) + NO_CASE)
        by_density = np.asarray(rising.x)
        return np.asarray(effect[0] + by_density[:, None] + effect[n_density + 1 :][None, :], np.float64)

    def behind(self) -> Numbers:
        """Cases that speak for each class: of its kind of ground, and of its density or less, whichever are fewer.

        What was found with few returns is found with more, so cases of less density count; not those of more.
        """
        both = np.minimum(np.cumsum(self.cases.sum(axis=1))[:, None], self.cases.sum(axis=0)[None, :])
        return np.asarray(both, np.float64)


@dataclass(frozen=True)
class Range:
    """A share, as surely as it is known: it lies between the two eight times in ten.

    Attributes
    ----------
    low, high : float, 0 to 1
    """

    low: float
    high: float

    def at_most(self, share: float) -> Range:
        """The range cut off above another measurement of the same."""
        return Range(min(self.low, share), min(self.high, share))


@dataclass(frozen=True)
class Promise:
    """Shares of one kind of feature: of those there to be found, of those drawn to be there.

    Attributes
    ----------
    found, right : Range or None
        None where most of the ground is of a kind on which too little was measured.
    """

    found: Range | None
    right: Range | None


@dataclass(frozen=True)
class Table:
    """Cases of one kind of feature: share (found or right), then the place they come from, to their counts."""

    places: Mapping[str, Mapping[str, Counts]]

    def expected(self, squares: Squares, /) -> Promise:
        """What to expect on the squares of a survey, each as large as the others."""
        classes = density_class(squares.ground_per_m2), squares.kind
        return Promise(**{share: self._range(self.places.get(share, {}), classes) for share in SHARES})

    def _range(self, places: Mapping[str, Counts], classes: tuple[NDArray[np.intp], NDArray[np.int64]]) -> Range | None:
        all_of_them = Counts.total(places.values())
        measured = float((all_of_them.behind()[classes] >= LEAST_CASES).mean())
        if measured < 0.5 or len(places) < LEAST_PLACES:
            return None
        expected = float(scipy.special.logit(scipy.special.expit(all_of_them.odds()[classes]).mean()))
        aside = EIGHT_IN_TEN * spread_of(places)
        return Range(float(scipy.special.expit(expected - aside)), float(scipy.special.expit(expected + aside)))


def spread_of(places: Mapping[str, Counts], /) -> float:
    """One sigma of the logarithm of the odds by which a place differs from what the other places promise for it."""
    squares = [USUAL_SPREAD**2] * int(PRIOR_SCENES)
    for name, own in places.items():
        others = Counts.total(counts for place, counts in places.items() if place != name)
        if own.cases.sum() >= LEAST_CASES / 2 and others.cases.sum() >= LEAST_CASES:
            promised = float((scipy.special.expit(others.odds()) * own.cases).sum() / own.cases.sum())
            came = (own.hits.sum() + 0.5) / (own.cases.sum() + 1)
            squares.append(float(scipy.special.logit(came) - scipy.special.logit(promised)) ** 2)
    return math.sqrt(sum(squares) / len(squares))


def density_class(ground_per_m2: Numbers, /) -> NDArray[np.intp]:
    """(n,) which class of GROUND_PER_M2 each density is in, 0 the least."""
    return np.searchsorted(GROUND_PER_M2, ground_per_m2, side="right")


def tables_of(record: Mapping[str, object], /) -> dict[str, Table]:
    """The tables of a record such as `config/promises.json`: kind of feature to its table.

    A row holds `feature`, `share` (found or right), `at_least_per_m2`, `ground` (of KINDS_OF_GROUND), `hits`, `cases`
    and the `scene` they were counted in.

    Raises
    ------
    SettingsError
        If a row cannot be read.
    """
    rows = record.get("rows")
    places: dict[str, dict[str, dict[str, Counts]]] = {}
    try:
        for row in rows if isinstance(rows, list) else []:
            shares = places.setdefault(str(row["feature"]), {share: {} for share in SHARES})
            counts = shares[row["share"]].setdefault(str(row["scene"]), Counts.total(()))
            cell = (0, *GROUND_PER_M2).index(float(row["at_least_per_m2"])), KINDS_OF_GROUND.index(row["ground"])
            counts.hits[cell] += float(row["hits"])
            counts.cases[cell] += float(row["cases"])
    except (KeyError, TypeError, ValueError) as error:
        raise SettingsError(f"the table of promises cannot be read: {error}") from error
    return {feature: Table(shares) for feature, shares in places.items()}
