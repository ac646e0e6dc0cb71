"""How well each kind of feature can be found, by density and season."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from pipeline.intake.leaf_calendar import Season
from pipeline.survey.judge import judge
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
    """The ten kinds, each once."""
    assert sorted(grades(density(4.0))) == sorted(
        ["contours", "landform detail", "open land", "runnability", "boulders", "cliffs", "paths", "rides", "water",
         "buildings"]
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
    assert all(dense[feature] == "good" for feature in dense if feature not in ("water", "paths"))
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


def test_landforms_and_cliffs_are_promised_as_was_measured_on_such_ground() -> None:
    """What found four in ten on restless ground is poor there and good on calm ground, at the same density."""
    rows = [
        {"feature": feature, "share": share, "at_least_per_m2": 2.0, "ground": ground, "hits": hits, "cases": 100}
        for feature in ("landform detail", "cliffs")
        for share in ("found", "right")
        for ground, hits in (("calm", 95), ("restless", 40), ("steep", 95))
    ]
    tables = tables_of({"rows": rows})
    for kind, grade in ((CALM, "good"), (RESTLESS, "poor")):
        verdicts = judge(density(20.0), season="leaf-off", squares=squares(3.0, kind), promises=tables)
        assert {verdict.feature: verdict.grade for verdict in verdicts}["landform detail"] == grade
        assert {verdict.feature: verdict.grade for verdict in verdicts}["cliffs"] == grade


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


def test_no_ground_at_all_is_no_crash() -> None:
    """A survey of a closed roof."""
    assert grades(Density(4.0, 1.0, 0.0, 0.0, 0.0))["contours"] == "not possible"
