"""The columns of the check list, for those who write it and those who read it back."""

from __future__ import annotations

COLUMNS = (
    *("rank", "name", "outing", "stop", "id", "symbol", "kind", "look_at", "why", "confidence", "minutes", "worth"),
    *("east_m", "north_m", "latitude_deg", "longitude_deg"),
)
"""Columns of `fieldwork/check_list.csv`, in their order."""
TEXTS = ("name", "id", "symbol", "kind", "look_at", "why")
"""Those that hold text; the others hold numbers."""
NUMBERS = tuple(column for column in COLUMNS if column not in TEXTS)
