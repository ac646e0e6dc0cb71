"""What marks teach about things that nobody has looked at."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit

from pipeline.marks.apply import SILENCE_SHARE
from pipeline.marks.learning import Evidence, Learned, Prior, evidence_of, learn, learned_from, stated_before
from pipeline.marks.mark import Kept, Mark, Was
from pipeline.marks.progress import open_rows, progress_of, ranked_anew
from tests.marks.drafts import made_draft

WIDE = Prior(section=0.01, family=3.0, hardly_seen=0.01)


def evidence(n: int, right: int, *, symbol: str = "204", stated: float = 0.6, weight: float = 1.0) -> Evidence:
    """Things of one kind, the first of them there."""
    ones = np.ones(n)
    return Evidence(np.array([symbol] * n), stated * ones, ones < 0, np.arange(n) < right, weight * ones)


def after(learned: Learned, symbol: str = "204", stated: float = 0.6) -> float:
    """The confidence of an open thing."""
    return float(learned.applied(np.array([stated]), np.array([symbol]), np.array([False]))[0])


def test_without_marks_nothing_changes() -> None:
    """Not by a digit."""
    assert after(learn(evidence(0, 0)), stated=0.6123) == 0.6123


def test_marks_that_agree_with_the_confidences_change_little() -> None:
    """Six of ten that were stated with 0.6."""
    assert after(learn(evidence(10, 6), WIDE)) == pytest.approx(0.6, abs=0.01)


def test_many_marks_are_believed_and_few_hardly() -> None:
    """Two hundred of which a tenth is there bring 0.6 close to 0.1 under a wide prior; two bring it a little down."""
    assert after(learn(evidence(200, 20), WIDE)) == pytest.approx(0.1, abs=0.03)
    assert 0.5 < after(learn(evidence(2, 0), Prior(section=0.3, family=0.4))) < 0.6


def test_the_shift_is_the_posterior_mode_by_brute_force() -> None:
    """Of one family under one prior, found on a fine grid."""
    shift = np.linspace(-4, 4, 80_001)
    p = expit(logit(0.6) + shift)
    best = shift[np.argmax(3 * np.log(p) + 9 * np.log(1 - p) - 0.5 * (shift / 0.7) ** 2)]
    learned = learn(evidence(12, 3), Prior(section=1e-4, family=0.7))
    assert after(learned) == pytest.approx(expit(logit(0.6) + best), abs=2e-3)


def test_what_was_found_of_one_kind_says_less_of_others() -> None:
    """No boulder is there: boulders fall most, cliffs of the same section a little, thickets not at all."""
    learned = learn(evidence(30, 0), Prior(0.5, 0.5))
    assert after(learned) < after(learned, "202") < after(learned, "408") == 0.6
    assert after(learned, "205") == after(learned)
    assert after(learned, "101") == 0.6


def test_silence_counts_as_a_quarter_of_a_mark() -> None:
    """Four walks past teach what one mark does."""
    four, one = learn(evidence(4, 0, weight=SILENCE_SHARE)), learn(evidence(1, 0))
    assert after(four) == pytest.approx(after(one), abs=1e-4)


def mark(status: str, *, symbol: str = "204", was: str = "204", drawn: str = "draft") -> Mark:
    """A mark on a thing that was proposed."""
    point = {"type": "Point", "coordinates": [0, 0]}
    told = Was(symbol=was, confidence=0.7, status=drawn, geometry=point)  # type: ignore[arg-type]
    return Mark(id=f"{status}{symbol}{was}{drawn}", status=status, symbol=symbol, was=was and told)  # type: ignore[arg-type]


def test_which_marks_teach_and_what() -> None:
    """Another symbol of the same family is right, of another is wrong; what the mapper added was never proposed."""
    marks = [
        mark("confirmed"),
        mark("confirmed", symbol="205"),
        mark("confirmed", symbol="109"),
        mark("rejected"),
        mark("seen"),
        mark("seen", drawn="candidate"),
        mark("edited"),
        Mark(id="n", status="new", symbol="204"),
    ]
    told = evidence_of(marks)
    assert told.is_there.tolist() == [True, True, False, False, True, False]
    assert told.weight.tolist() == [1, 1, 1, 1, SILENCE_SHARE, SILENCE_SHARE]


def test_a_handful_of_marks_teaches_nothing() -> None:
    """Seven marks leave the map alone, eight do not; walks past do not count."""
    marks = [mark("rejected").model_copy(update={"id": str(k)}) for k in range(8)]
    silent = [mark("seen").model_copy(update={"id": f"s{k}"}) for k in range(8)]
    assert not learned_from(Kept(crs="x", marks=[*marks[:7], *silent])).shifts
    assert after(learned_from(Kept(crs="x", marks=marks))) < 0.5


def test_what_was_stated_is_reckoned_back() -> None:
    """A draft that shows learned confidences tells what it would have stated, so that no mark counts twice."""
    learned = learn(evidence(20, 4))
    draft = made_draft()
    rock = draft["rock_point"]
    nowhere = np.zeros(len(rock), bool)
    shown = learned.applied(rock["confidence"].to_numpy(), rock["symbol"].to_numpy(str), nowhere).round(3)
    told = stated_before(draft | {"rock_point": rock.assign(confidence=shown)}, learned)
    assert [told[name][0] for name in rock["id"]] == pytest.approx(list(rock["confidence"]), abs=0.002)


def listed() -> pd.DataFrame:
    """Three rows of the check list."""
    return pd.DataFrame(
        {"rank": [1, 2, 3], "name": ["001", "002", "003"], "id": ["a", "b", "c"], "symbol": ["408", "204", "204"],
         "kind": ["doubtful", "candidate", "doubtful"], "confidence": [0.7, 0.4, 0.6], "minutes": [10.0, 6.0, 4.0],
         "worth": [3.0, 2.0, 1.0]}
    )  # fmt: skip


def test_progress_counts_rows_and_time() -> None:
    """One of three rows is a third of the list and half of the time; a value alone settles nothing."""
    kept = Kept(
        crs="x", marks=[Mark(id="a", status="seen", name="001", minutes=10), Mark(id="b", status="edited", name="002")]
    )
    progress = progress_of(listed(), kept)
    assert (progress["done"], progress["left"], progress["done_percent"], progress["hours_percent"]) == (
        1,
        2,
        33.3,
        50.0,
    )
    left = open_rows(listed(), kept)
    assert list(left["name"]) == ["002", "003"]
    assert progress_of(left, kept) == progress, "the whole stays the whole when the list has shrunk"


def test_the_rest_is_ranked_by_what_was_learned() -> None:
    """Boulders that turn out to be stumps: a candidate is worth less of a look, a drawn one more; names stay."""
    told = ranked_anew(listed(), Learned(), learn(evidence(30, 0)))
    worth = dict(zip(told["name"], told["worth"], strict=True))
    assert worth["001"] == 3.0
    assert worth["002"] < 2.0
    assert worth["003"] > 1.0
    assert list(told["rank"]) == [1, 2, 3]
