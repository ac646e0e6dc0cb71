"""What is promised of landforms and cliffs comes from what was measured, and holds where it was not measured."""

from __future__ import annotations

import json
from collections.abc import Mapping

import numpy as np
import pytest

from pipeline.errors import SettingsError
from pipeline.shipped import PROMISES
from pipeline.survey.promises import GROUND_PER_M2, SHARES, Promise, tables_of
from pipeline.survey.squares import CALM, KINDS_OF_GROUND, STEEP, Squares

RECORD: Mapping[str, list[dict[str, object]]] = json.loads(PROMISES.read_text(encoding="utf-8"))


def row(density: float, ground: str, hits: int, cases: int, *, share: str = "found") -> dict[str, object]:
    """A row of the table of cliffs."""
    names = ("feature", "share", "at_least_per_m2", "ground", "hits", "cases")
    return dict(zip(names, ("cliffs", share, density, ground, hits, cases), strict=True))


def on(density: float, kind: int, rows: list[dict[str, object]]) -> Promise:
    """The promise on ground of one density and kind."""
    return tables_of({"rows": rows})["cliffs"].expected(
        Squares(np.zeros((1, 2), np.int64), np.array([density]), np.array([kind]))
    )


def test_many_cases_are_promised_as_they_were() -> None:
    """Of a thousand cases on calm, well seen ground 900 were found; on dark ground 300."""
    rows = [row(2.0, "calm", 900, 1000), row(0.0, "calm", 300, 1000)]
    assert on(3.0, CALM, rows).found == pytest.approx(0.9, abs=0.02)
    assert on(0.2, CALM, rows).found == pytest.approx(0.3, abs=0.02)


def test_one_case_promises_little() -> None:
    """A single find on steep ground among a hundred misses elsewhere does not make steep ground sure."""
    assert on(3.0, STEEP, [row(2.0, "calm", 20, 100), row(2.0, "steep", 1, 1)]).found < 0.5


def test_more_returns_never_promise_less() -> None:
    """Where a few cases say otherwise, it is chance."""
    rows = [row(density, "calm", hits, 10) for density, hits in ((0.0, 3), (0.5, 8), (1.0, 5), (2.0, 7), (4.0, 6))]
    found = [on(density, CALM, rows).found for density in (0.1, 0.7, 1.5, 3.0, 9.0)]
    assert found == sorted(found)


def test_a_table_that_cannot_be_read_is_refused() -> None:
    """A kind of ground that no survey tells."""
    with pytest.raises(SettingsError, match="promises"):
        tables_of({"rows": [row(2.0, "boggy", 1, 1)]})


@pytest.mark.parametrize("feature", ["landform detail", "cliffs"])
@pytest.mark.parametrize("share", SHARES)
def test_the_shipped_table_rests_on_cases(feature: str, share: str) -> None:
    """Each share of each kind of feature comes from at least twenty cases."""
    table = tables_of(RECORD)[feature]
    assert table.cases[share].shape == (len(GROUND_PER_M2) + 1, len(KINDS_OF_GROUND))
    assert table.cases[share].sum() >= 20


def test_the_shipped_table_does_not_promise_too_much_elsewhere() -> None:
    """On scenes that it was not made from, weighed by cases, no share came out lower than promised by over 0.15."""
    trials = RECORD["tried"]
    assert len(trials) >= 4
    for share in SHARES:
        mine = [trial for trial in trials if trial["share"] == share]
        number, promised, came = (
            np.array([float(str(t[key])) for t in mine]) for key in ("cases", "promised", "came_true")
        )
        assert ((promised - came) * number).sum() / number.sum() <= 0.15
