"""The check list with all its columns, as the marks of a walk are compared with it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from pipeline.errors import InputError
from pipeline.fieldwork.questions.columns import COLUMNS, NUMBERS, TEXTS
from pipeline.files.found.tables import numbers_of, read_table

NO_KIND = "notes"
"""Kind of a row that names none: lists of `tussock calibrate` hold places for notes only."""


def read_listed(path: Path, /) -> pd.DataFrame:
    """The check list with the columns COLUMNS, and whatever was added to it; no rows where there is no list.

    A list without names, such as `tussock calibrate` writes, is named by its ranks, and its places by where they are.

    Raises
    ------
    InputError
        If it cannot be read, or does not say where its places are.
    """
    if not path.exists():
        return pd.DataFrame({name: pd.Series(dtype=float if name in NUMBERS else object) for name in COLUMNS})
    table = read_table(path)
    if not {"east_m", "north_m"} <= set(table.columns):
        raise InputError(f"{path}: has no columns east_m and north_m; it is not a check list")
    for name in NUMBERS:
        table[name] = numbers_of(table[name]) if name in table else float("nan")
    for name in TEXTS:
        table[name] = table[name].astype(object) if name in table else ""
    table = table.dropna(subset=["east_m", "north_m"]).reset_index(drop=True)
    rank = table["rank"].fillna(pd.Series(range(1, len(table) + 1), dtype=float)).astype(int)
    places = [f"place-{east:.0f}-{north:.0f}" for east, north in zip(table["east_m"], table["north_m"], strict=True)]
    filled = {
        "rank": rank,
        "name": table["name"].where(table["name"] != "", rank.map("{:03d}".format)),
        "id": table["id"].where(table["id"] != "", pd.Series(places, dtype=object)),
        "kind": table["kind"].where(table["kind"] != "", NO_KIND),
        "minutes": table["minutes"].fillna(0.0),
        "worth": table["worth"].fillna(0.0),
    }
    return table.assign(**filled)
