"""What a refresh found in one area, as a row of the batch's table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast

CHANGES = ("unchanged", "moved", "reclassified", "gone", "new")
"""Kinds of change that features are counted by."""
Row = dict[str, str | float | int | None]
Squares = Sequence[Mapping[str, float]]


def outcome_of(refresh: Mapping[str, object], effort: Mapping[str, object], sure: Sequence[float], /) -> Row:
    """A row of the table for an area that is done.

    Parameters
    ----------
    refresh, effort : what `refresh.json` and `fieldwork/effort.json` say; the latter may be empty
    sure : how sure each place of `fieldwork/changes_list.csv` is, 0 to 1

    Returns
    -------
    Features by kind of change; `places` to visit; `verified_unchanged`, share of the ground, 0 to 1; hours of fieldwork
    on the whole area (`fieldwork_low_h`, `fieldwork_h`, `fieldwork_high_h`) and on what is not verified unchanged
    (`to_check_h`); `changes_per_h`, changes that an hour there may expect to find. What is not known is None.
    """
    counts = cast("Mapping[str, int]", refresh.get("counts") or {})
    hours = cast("Mapping[str, float]", effort.get("fieldwork_h") or {})
    cells = cast("Sequence[Mapping[str, object]]", effort.get("cells") or ())
    to_check_h = hours_to_check(cells, cast("Squares", refresh.get("squares") or ())) if cells else None
    expected = sum(sure)
    return {
        **{name: int(counts.get(name, 0)) for name in CHANGES},
        "places": len(sure),
        "verified_unchanged": cast("float | None", refresh.get("verified_unchanged")),
        "fieldwork_low_h": hours.get("low"),
        "fieldwork_h": hours.get("likely"),
        "fieldwork_high_h": hours.get("high"),
        "to_check_h": None if to_check_h is None else round(to_check_h, 1),
        "changes_per_h": round(expected / to_check_h, 2) if to_check_h else None,
        **_seasons(refresh),
    }


def hours_to_check(cells: Sequence[Mapping[str, object]], squares: Squares, /) -> float:
    """Likely hours of fieldwork on ground that is not verified unchanged.

    The hours of each square of the effort model count as far as the squares of the refresh that lie in it are not
    verified unchanged; where a refresh says nothing of a square, all its hours count. Common practice, no source: what
    both surveys show alike needs no new look.
    """
    total_h = 0.0
    for cell in cells:
        west, south, side = (float(cast("float", cell[name])) for name in ("east_m", "north_m", "side_m"))
        likely_h = cast("Mapping[str, float]", cell["fieldwork_h"])["likely"]
        shared = [(_shared_m2(west, south, side, square), square["verified_unchanged"]) for square in squares]
        known_m2 = sum(area_m2 for area_m2, _ in shared)
        verified = sum(area_m2 * share for area_m2, share in shared) / known_m2 if known_m2 else 0.0
        total_h += likely_h * (1.0 - verified)
    return total_h


def _shared_m2(west: float, south: float, side: float, square: Mapping[str, float]) -> float:
    """Ground that two squares share."""
    wide = min(west + side, square["east_m"] + square["side_m"]) - max(west, square["east_m"])
    high = min(south + side, square["north_m"] + square["side_m"]) - max(south, square["north_m"])
    return max(0.0, wide) * max(0.0, high)


def _seasons(refresh: Mapping[str, object]) -> Row:
    """Leaf season of both surveys, as they are told."""
    seasons = cast("Mapping[str, object]", refresh.get("seasons") or {})
    return {f"{which}_season": str(seasons.get(which) or "") for which in ("old", "new")}
