"""What share of the landforms and cliffs a draft finds, and what share of those it draws is there, as measured.

Both fall where few returns reach the ground, where it is steep and where it is restless. The tables come from drafts of
places with known truth; a survey is promised what was measured on ground like its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SettingsError
from pipeline.survey.squares import KINDS_OF_GROUND, Squares

Numbers = NDArray[np.float64]

GROUND_PER_M2 = (0.5, 1.0, 2.0, 4.0)
"""Ground returns a square metre that part the classes of a table: 1.4, 1, 0.7 and 0.5 m apart."""
DOUBT_CASES = 5.0
"""Cases that the mean of all counts for against those of a class: a class with as many of its own is believed half. Our
choice."""
SHARES = ("found", "right")
"""What a table tells: share of the true features that are found, share of the drawn features that are there."""


@dataclass(frozen=True)
class Promise:
    """Shares of one kind of feature: of those there to be found, of those drawn to be there.

    Attributes
    ----------
    found, right : float, 0 to 1
    """

    found: float
    right: float


@dataclass(frozen=True)
class Table:
    """Cases of one kind of feature, by the ground they lie on.

    Attributes
    ----------
    hits, cases : mapping from `found` and `right` to (len(GROUND_PER_M2) + 1, len(KINDS_OF_GROUND)) float64
        How many were found, or right, of how many, by class of density and by kind of ground.
    """

    hits: Mapping[str, Numbers]
    cases: Mapping[str, Numbers]

    def expected(self, squares: Squares, /) -> Promise:
        """What to expect on the squares of a survey, each as large as the others."""
        classes = density_class(squares.ground_per_m2), squares.kind
        return Promise(**{share: float(self._share(share)[classes].mean()) for share in SHARES})

    def _share(self, share: str) -> Numbers:
        """The share in each class, from those of its density and of its kind of ground, in odds.

        There are too few cases for each density on each ground, so each is taken to act by itself. More returns are
        never taken to find less: where the measurement says so it is chance.
        """
        hits, cases = self.hits[share], self.cases[share]
        whole = (hits.sum() + 1) / (cases.sum() + 2)

        def odds(axis: int) -> Numbers:
            rate = (hits.sum(axis) + DOUBT_CASES * whole) / (cases.sum(axis) + DOUBT_CASES)
            return np.asarray(np.log(rate / (1 - rate)), np.float64)

        by_density = np.maximum.accumulate(odds(1))
        both = by_density[:, None] + odds(0)[None, :] - np.log(whole / (1 - whole))
        return np.asarray(1 / (1 + np.exp(-both)), np.float64)


def density_class(ground_per_m2: Numbers, /) -> NDArray[np.intp]:
    """(n,) which class of GROUND_PER_M2 each density is in, 0 the least."""
    return np.searchsorted(GROUND_PER_M2, ground_per_m2, side="right")


def tables_of(record: Mapping[str, object], /) -> dict[str, Table]:
    """The tables of a record such as `config/promises.json`: kind of feature to its table.

    A row holds `feature`, `share` (found or right), `at_least_per_m2`, `ground` (of KINDS_OF_GROUND), `hits`, `cases`.

    Raises
    ------
    SettingsError
        If a row cannot be read.
    """
    rows = record.get("rows")
    tables: dict[str, Table] = {}
    shape = (len(GROUND_PER_M2) + 1, len(KINDS_OF_GROUND))
    try:
        for row in rows if isinstance(rows, list) else []:
            empty = Table(*({share: np.zeros(shape) for share in SHARES} for _ in range(2)))
            table = tables.setdefault(str(row["feature"]), empty)
            cell = (0, *GROUND_PER_M2).index(float(row["at_least_per_m2"])), KINDS_OF_GROUND.index(row["ground"])
            table.hits[row["share"]][cell] += float(row["hits"])
            table.cases[row["share"]][cell] += float(row["cases"])
    except (KeyError, TypeError, ValueError) as error:
        raise SettingsError(f"the table of promises cannot be read: {error}") from error
    return tables
