"""What other people mapped, as features of the norm."""

from __future__ import annotations

from pathlib import Path

import shapely

from pipeline.borrowed.matching import Matched, match_features
from pipeline.borrowed.table import Row, keys_of, table_rows
from pipeline.errors import InputError, SettingsError
from pipeline.features import join_features, no_features
from pipeline.files import arrays, layers
from pipeline.files.borrowed import read_borrowed
from pipeline.norm.symbols import norm_table
from pipeline.settings import Borrowing, Source
from pipeline.shipped import BORROWED

MARGIN_M = 100.0
"""Metres around the area that are read as well: a road goes on beyond it, and composition cuts it there."""
SHOWN_UNKNOWN = 10
"""How many kinds of features that no row knows are named in the report: the most frequent ones."""


def borrow(*, sources: Borrowing, outline: Path, out: Path, report: Path) -> None:
    """Features of all sources in the working CRS, with `origin`, and what was and was not taken of each."""
    area, crs = layers.read_outline(outline)
    west, south, east, north = shapely.buffer(area, MARGIN_M).bounds
    tables, said = [], []
    for source in sources.sources:
        path = Path(source.file)
        rows = _rows_of(source)
        read = read_borrowed(path, keys=keys_of(rows), crs=crs, within=(west, south, east, north), own_crs=source.crs)
        matched = match_features(read, rows=rows, symbols=norm_table(), origin=path.name, crs=crs)
        tables.append(matched.features)
        said.append(_record(path, source, sum(map(len, read)), matched))
    joined = join_features(tables, crs) if tables else no_features(crs)
    if "origin" not in joined:
        joined["origin"] = ""
    layers.write_features(out, joined)
    arrays.write_json(report, {"sources": said})


def _rows_of(source: Source) -> tuple[Row, ...]:
    """The rows that a source's features are looked up in: its own table's first, then the shipped ones."""
    rows: tuple[Row, ...] = ()
    for path in [*([Path(source.table)] if source.table else []), BORROWED]:
        try:
            rows += table_rows(path.read_text(encoding="utf-8-sig"), norm_table())
        except SettingsError as error:
            raise InputError(f"{path}: {error}") from error
        except (OSError, UnicodeDecodeError) as error:
            raise InputError(f"{path}: cannot be read as a table of symbols ({error})") from error
    return rows


def _record(path: Path, source: Source, n_read: int, matched: Matched) -> dict[str, object]:
    """What one source gave, for `report/borrowed.json`."""
    counts = matched.features["symbol"].value_counts().sort_index()
    return {
        "file": path.name,
        "credit": source.credit,
        "features_read": n_read,
        "taken": {str(symbol): int(n) for symbol, n in counts.items()},
        "not_known": dict(list(matched.unknown.items())[:SHOWN_UNKNOWN]),
        "not_known_in_all": sum(matched.unknown.values()),
    }
