"""The table of what becomes which symbol."""

from __future__ import annotations

import pytest

from pipeline.borrowed.table import NEVER, keys_of, symbol_of, table_rows
from pipeline.errors import SettingsError
from pipeline.norm.symbols import norm_table
from pipeline.shipped import BORROWED

SHIPPED = table_rows(BORROWED.read_text(encoding="utf-8"), norm_table())
HEAD = "kind,where,symbol\n"


@pytest.mark.parametrize(
    ("kind", "tags", "symbol"),
    [
        ("line", {"highway": "track", "tracktype": "grade1"}, "503"),
        ("line", {"highway": "track", "tracktype": "grade3"}, "504"),
        ("line", {"highway": "track", "width": "1.2 m"}, "505"),
        ("line", {"highway": "path"}, "505"),
        ("line", {"highway": "path", "width": "0,4"}, "506"),
        ("line", {"highway": "path", "trail_visibility": "bad"}, "507"),
        ("line", {"highway": "track", "tunnel": "yes"}, NEVER),
        ("line", {"waterway": "ditch"}, "306"),
        ("line", {"power": "line", "voltage": "380000"}, "511"),
        ("line", {"power": "line", "voltage": "unknown"}, "510"),
        ("area", {"building": "yes"}, "521"),
        ("area", {"building": "no"}, NEVER),
        ("point", {"natural": "spring"}, "312"),
        ("line", {"symbol": "505", "highway": "track"}, "505"),
        ("line", {"symbol": "204"}, None),
        ("line", {"highway": "proposed"}, None),
        ("area", {"highway": "track"}, None),
    ],
)
def test_first_row_that_fits_counts(kind: str, tags: dict[str, str], symbol: str | None) -> None:
    """Grades and widths decide; what no row knows becomes nothing, and 204 is no line."""
    assert symbol_of(kind, tags, SHIPPED, norm_table()) == symbol


def test_own_table_goes_first() -> None:
    """A mapper's row stands before the shipped ones."""
    own = table_rows(HEAD + "line,highway=path,507\n", norm_table())
    assert symbol_of("line", {"highway": "path"}, own + SHIPPED, norm_table()) == "507"


def test_keys_are_all_tags_asked_for() -> None:
    """The reader fetches what conditions and numbers of one's own ask for, and nothing else."""
    rows = table_rows(HEAD + "line,a=1 b>=2,505\npoint,c,=number\n", norm_table())
    assert keys_of(rows) == ("a", "b", "c", "number")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("where,symbol\nx,505\n", "has no column kind"),
        (HEAD + "lines,x,505\n", "line 2: kind is 'lines'"),
        (HEAD + "line,x,999\n", "'999' is no number of the norm"),
        (HEAD + "area,x,505\n", "draws 505 as line, not as area"),
        (HEAD + "line,x>=wide,505\n", "which is no number"),
        (HEAD + "line,=1,505\n", "'=1' is no condition"),
    ],
)
def test_mistakes_are_named_with_their_line(text: str, said: str) -> None:
    """Every mistake says the line and what can be written instead."""
    with pytest.raises(SettingsError, match=said):
        table_rows(text, norm_table())
