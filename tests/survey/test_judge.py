"""How well each kind of feature can be found, by density and season."""

from __future__ import annotations

import re

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.files.arrays import read_json
from pipeline.intake.leaf_calendar import Season
from pipeline.shipped import BOULDER_RECALL
from pipeline.survey.boulder_recall import recall_table
from pipeline.survey.judge import Verdict, judge
from pipeline.survey.measure import Density
from pipeline.survey.promises import tables_of
from pipeline.survey.squares import CALM, RESTLESS, STEEP, Squares

GRADES = ["good", "usable", "poor", "not possible", "not drawn"]


def density(pulses_per_m2: float, *, ground_ratio: float = 0.5, returns_per_pulse: float = 1.5) -> Density:
    """A survey of ordinary forest."""
    return Density(pulses_per_m2, returns_per_pulse, ground_ratio * pulses_per_m2, 0.0, 0.0)


def grades(measured: Density, season: Season = "leaf-off") -> dict[str, str]:
    """Grade by feature."""
    return {verdict.feature: verdict.grade for verdict in judge(measured, season=season)}


def test_every_kind_of_feature_is_judged() -> None:
    """The eleven kinds, each once."""
    assert sorted(grades(density(4.0))) == sorted(
        ["contours", "landform detail", "open land", "runnability", "boulders", "cliffs", "paths", "rides", "water",
         "streams", "buildings"]
    )  # fmt: skip


@given(st.floats(0.01, 50), st.floats(1.0, 10), st.floats(0.05, 1))
def test_more_pulses_never_make_it_worse(pulses_per_m2: float, factor: float, ground_ratio: float) -> None:
    """Each grade rises with density or stays."""
    few = grades(density(pulses_per_m2, ground_ratio=ground_ratio))
    many = grades(density(pulses_per_m2 * factor, ground_ratio=ground_ratio))
    assert all(GRADES.index(many[feature]) <= GRADES.index(few[feature]) for feature in few)


def test_dense_and_sparse_surveys_are_told_apart() -> None:
    """At 20 pulses nearly all is good; at 0.3, contours are all one can have, and boulders are out of reach."""
    dense, sparse = grades(density(20.0)), grades(density(0.3))
    assert all(dense[feature] == "good" for feature in dense if feature not in ("water", "streams", "paths"))
    assert sparse["contours"] == "usable"
    assert sparse["boulders"] == "not possible"


def test_paths_are_never_promised_as_good() -> None:
    """No density makes paths good: most small paths leave nothing in the relief."""
    assert grades(density(50.0))["paths"] == "usable"


def squares(ground_per_m2: float, kind: int, *, dark_share: float = 0.0) -> Squares:
    """A hundred squares of one kind of ground, some of them nearly unseen."""
    seen = np.where(np.arange(100) < 100 * dark_share, 0.05, ground_per_m2)
    return Squares(np.zeros((100, 2), np.int64), seen, np.full(100, kind))


def test_contours_are_judged_where_the_fewest_returns_are() -> None:
    """Three ground returns a m2 on the average are not good contours where a fifth of the ground is dark."""
    measured = density(6.0)
    even, dark = (
        judge(measured, season="leaf-off", squares=squares(3.0, STEEP, dark_share=share))[0] for share in (0.0, 0.2)
    )
    assert (even.grade, dark.grade) == ("good", "poor")
    assert "every 4.5 m on the darkest tenth" in dark.reason


ROWS = [
    {
        "feature": feature,
        "share": share,
        "at_least_per_m2": 2.0,
        "ground": ground,
        "hits": hits,
        "cases": 100,
        "scene": n,
    }
    for feature in ("landform detail", "cliffs", "boulders", "high boulders")
    for share in ("found", "right")
    for ground, hits in (("calm", 98), ("restless", 40))
    for n in range(5)
]
"""Five places with the same: nearly all found on calm ground, four in ten on restless, steep ground never seen."""
TABLES, DOMES = tables_of({"rows": ROWS}), recall_table(read_json(BOULDER_RECALL))


def promised(kind: int, ground_per_m2: float = 3.0, pulses_per_m2: float = 20.0) -> dict[str, Verdict]:
    """Verdicts by ROWS, on ground of one kind."""
    verdicts = judge(
        density(pulses_per_m2),
        season="leaf-off",
        squares=squares(ground_per_m2, kind),
        promises=TABLES,
        boulder_recall=DOMES,
    )
    return {verdict.feature: verdict for verdict in verdicts}


def test_features_are_promised_as_was_measured_on_such_ground() -> None:
    """What found four in ten on restless ground is poor there and good on calm ground, at the same density."""
    for kind, grade in ((CALM, "good"), (RESTLESS, "poor")):
        assert {promised(kind)[name].grade for name in ("landform detail", "cliffs")} == {grade}


def test_good_never_stands_where_nothing_was_measured() -> None:
    """Not on steep ground, which ROWS do not know, nor for kinds that they do not hold; and no figure stands there."""
    for verdict in promised(STEEP).values():
        assert verdict.grade != "good"
        assert "in 10" not in verdict.reason
        assert "not measured on ground like this" in verdict.reason
    assert "not measured" in promised(CALM)["buildings"].reason


@settings(max_examples=40, deadline=None)
@given(st.floats(0.01, 30), st.sampled_from([CALM, RESTLESS, STEEP]), st.floats(0.01, 10))
def test_what_is_not_possible_is_promised_nothing(pulses_per_m2: float, kind: int, ground_per_m2: float) -> None:
    """No share stands beside `not possible`, and `good` only beside seven in ten or more."""
    for verdict in promised(kind, ground_per_m2, pulses_per_m2).values():
        if verdict.grade == "not possible":
            assert "in 10" not in verdict.reason
        if verdict.grade == "good":
            assert min(int(count) for count in re.findall(r"(\d) (?:to \d )?in 10", verdict.reason)) >= 7


def test_no_more_boulders_are_promised_than_of_planted_ones_are_found() -> None:
    """Nearly all were found in ROWS; under crowns that keep half the pulses, seven in ten of smooth ones are."""
    assert promised(CALM)["boulders"].reason.startswith("expect 7 in 10 found (9 in 10 from 2 m up), ")
    assert promised(CALM)["boulders"].grade == "usable"


def test_one_return_a_pulse_cannot_show_undergrowth() -> None:
    """However dense."""
    assert grades(density(20.0, returns_per_pulse=1.0))["runnability"] == "poor"


def test_leaves_limit_runnability_and_nothing_else() -> None:
    """Ground density already tells how much came through; what is in leaf still looks denser."""
    off, on = grades(density(20.0), "leaf-off"), grades(density(20.0), "leaf-on")
    assert [feature for feature in off if off[feature] != on[feature]] == ["runnability"]


def test_marked_lakes_are_better_than_guessed_ones() -> None:
    """A producer's water class counts, a few stray points of it do not."""
    marked, stray = Density(4.0, 1.5, 2.0, 1.0, 0.1), Density(4.0, 1.5, 2.0, 1.0, 0.0001)
    assert grades(marked)["water"] == "good"
    assert grades(stray)["water"] == "usable"


def test_buildings_that_the_producer_marked_are_not_impossible() -> None:
    """They are believed at any density, and poor at one that could not find them."""
    thin = density(0.2)
    told = {kind: {v.feature: v for v in judge(thin, season="leaf-off", has_buildings=kind)} for kind in (True, False)}
    assert told[False]["buildings"].grade == "not possible"
    assert told[True]["buildings"].grade == "poor"
    assert "producer" in told[True]["buildings"].reason


def test_no_ground_at_all_is_no_crash() -> None:
    """A survey of a closed roof."""
    assert grades(Density(4.0, 1.0, 0.0, 0.0, 0.0))["contours"] == "not possible"
