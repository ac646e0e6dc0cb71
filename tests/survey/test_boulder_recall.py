"""What share of boulders to expect of a survey, read from the measured table."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import SettingsError
from pipeline.files.arrays import read_json
from pipeline.shipped import BOULDER_RECALL
from pipeline.survey.boulder_recall import recall_table


def row(pulses_per_m2: float, canopy_share: float, symbol: str, recall: float) -> dict[str, object]:
    """One row of the table as it is written."""
    return {"pulses_per_m2": pulses_per_m2, "canopy_share": canopy_share, "symbol": symbol, "recall": recall}


ROWS = [
    row(pulses, canopy, symbol, recall)
    for symbol, share in (("204", 0.5), ("205", 1.0))
    for pulses, canopy, recall in ((1.0, 0.0, 0.4), (4.0, 0.0, 0.8 * share + 0.2), (1.0, 0.5, 0.0), (4.0, 0.5, 0.4))
]


def test_rows_are_met_and_between_them_the_logarithm_of_the_density_decides() -> None:
    """At a row its recall; half way in ratio, at 2 between 1 and 4, the mean of both."""
    table = recall_table({"rows": ROWS})
    assert table.expected(4.0, 0.0) == pytest.approx((0.6, 1.0))
    assert table.expected(2.0, 0.0) == pytest.approx((0.5, 0.7))
    assert table.expected(1.0, 0.25) == pytest.approx((0.2, 0.2))


def test_beyond_the_table_nothing_is_promised_that_was_not_measured() -> None:
    """Denser is no better than the densest row; thinner falls in proportion; no pulse finds nothing."""
    table = recall_table({"rows": ROWS})
    assert table.expected(40.0, 0.0) == pytest.approx(table.expected(4.0, 0.0))
    assert table.expected(0.5, 0.0) == pytest.approx((0.2, 0.2))
    assert table.expected(0.0, 0.9) == (0.0, 0.0)


@pytest.mark.parametrize("rows", [[], ROWS[:-1], [{**ROWS[0], "recall": "many"}, *ROWS[1:]], None])
def test_a_table_with_gaps_is_refused(rows: object) -> None:
    """Saying what is wrong with it."""
    with pytest.raises(SettingsError, match="boulder recall"):
        recall_table({"rows": rows})


@given(st.floats(0.01, 60), st.floats(0, 1))
def test_the_shipped_table_gives_shares(pulses_per_m2: float, canopy_share: float) -> None:
    """Between none and all, and higher boulders at least about as often as low ones."""
    low, high = recall_table(read_json(BOULDER_RECALL)).expected(pulses_per_m2, canopy_share)
    assert 0 <= low <= high + 0.05 <= 1.05
