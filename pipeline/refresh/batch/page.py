"""The table of a batch as a page to open in a browser."""

from __future__ import annotations

import html

import pandas as pd

from pipeline.errors import counted
from pipeline.refresh.batch.outcome import CHANGES
from pipeline.refresh.batch.table import DONE

HEADS = {
    "rank": "",
    "area": "area",
    **{name: name for name in CHANGES},
    "places": "places to visit",
    "verified_unchanged": "verified unchanged",
    "to_check_h": "hours to check",
    "changes_per_h": "changes an hour",
    "fieldwork": "hours, whole area",
    "seasons": "leaves",
}
"""Columns of the page and their heads."""
STYLE = (
    "body{font:15px/1.4 system-ui,sans-serif;margin:2rem;color:#222;background:#fff}"
    "table{border-collapse:collapse}th,td{padding:.3rem .7rem;border-bottom:1px solid #ccc;text-align:right}"
    "th:nth-child(2),td:nth-child(2),.failed td{text-align:left}.failed td{color:#a00000}"
)


def batch_page(title: str, table: pd.DataFrame, /) -> str:
    """The page as HTML; what comes from users is put in as text.

    Parameters
    ----------
    table : of `pipeline.refresh.batch.table.batch_table`; `page` leads to the page of an area, from this one
    """
    done, failed = table[table["status"] == DONE], table[table["status"] != DONE]
    words = f"{counted(len(done), 'area')} done, {len(failed)} failed."
    heads = "".join(f'<th scope="col">{html.escape(head)}</th>' for head in HEADS.values())
    rows = "".join(_row(row) for _, row in done.iterrows()) + "".join(_failed(row) for _, row in failed.iterrows())
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{html.escape(title)}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{STYLE}</style></head><body>\n'
        f"<h1>{html.escape(title)}</h1>\n<p>{words} First comes where an hour on foot may expect to find most changes. "
        "Hours to check are those of ground that is not verified unchanged.</p>\n"
        f"<table><thead><tr>{heads}</tr></thead>\n<tbody>{rows}</tbody></table>\n</body></html>\n"
    )


def _row(row: pd.Series) -> str:
    """A row of an area that is done."""
    shown = {name: _number(row.get(name)) for name in HEADS}
    name = html.escape(str(row["area"]))
    page = row["page"]
    shown["area"] = f'<a href="{html.escape(str(page), quote=True)}">{name}</a>' if isinstance(page, str) else name
    share = row["verified_unchanged"]
    shown["verified_unchanged"] = "" if pd.isna(share) else f"{float(share):.0%}"
    low, high = row["fieldwork_low_h"], row["fieldwork_high_h"]
    shown["fieldwork"] = "" if pd.isna(low) else f"{float(low):g} to {float(high):g}"
    seasons = [row[f"{which}_season"] for which in ("old", "new")]
    shown["seasons"] = html.escape(" \N{RIGHTWARDS ARROW} ".join(str(season) for season in seasons if season))
    return "<tr>" + "".join(f"<td>{text}</td>" for text in shown.values()) + "</tr>\n"


def _number(value: float | int | str | None) -> str:
    return (
        "" if value is None or pd.isna(value) else html.escape(f"{value:g}" if isinstance(value, float) else f"{value}")
    )


def _failed(row: pd.Series) -> str:
    area, message = html.escape(str(row["area"])), html.escape(str(row["message"]))
    return f'<tr class="failed"><td></td><td>{area}</td><td colspan="{len(HEADS) - 2}">failed: {message}</td></tr>\n'
