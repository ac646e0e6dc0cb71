"""What a survey calls not possible is told by symbol."""

import numpy as np
import pytest

from pipeline.norm.symbols import norm_table
from pipeline.survey.judge import judge
from pipeline.survey.measure import Density
from pipeline.survey.not_possible import SYMBOLS_OF, symbols_not_possible


def record(**grades: str) -> dict[str, object]:
    """A survey's record with these verdicts."""
    names = {name.replace("_", " "): grade for name, grade in grades.items()}
    return {"verdicts": [{"feature": name, "grade": grade, "reason": ""} for name, grade in names.items()]}


def test_only_kinds_that_are_not_possible_count() -> None:
    """Poor is still drawn."""
    found = symbols_not_possible(record(boulders="not possible", cliffs="poor", landform_detail="good"))
    assert set(found) == {"203", "204", "205", "206", "207", "208", "209"}
    assert symbols_not_possible(record(boulders="poor")) == ()


def test_every_kind_that_a_survey_judges_has_symbols_of_the_norm() -> None:
    """A new verdict without symbols would be drawn all the same."""
    density = Density(*np.ones(len(Density.__dataclass_fields__)))
    judged = {verdict.feature for verdict in judge(density, season="leaf-off")}
    assert judged == set(SYMBOLS_OF)
    # A main number stands for those that the norm parts: 203 for 203.1 and 203.2.
    known = {number.partition(".")[0] for number in norm_table().rows} | set(norm_table().rows)
    assert known >= {symbol for symbols in SYMBOLS_OF.values() for symbol in symbols}


def test_a_verdict_of_no_known_kind_is_refused() -> None:
    """It would otherwise be drawn without a word."""
    with pytest.raises(KeyError):
        symbols_not_possible(record(chimneys="not possible"))
