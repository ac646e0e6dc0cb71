"""What was found on foot in an earlier draft and is kept beside its area file, but not yet drawn into it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import geopandas as gpd
import pandas as pd

from pipeline.errors import counted
from pipeline.marks.apply import apply_marks, plain_value
from pipeline.marks.mark import Mark
from pipeline.refresh.old.old_map import GivenLayer

STATUS_OF = {"confirmed": "confirmed", "moved": "moved", "rejected": "rejected", "new": "confirmed"}
"""A mark's status -> the status of its feature once it is drawn in."""


@dataclass(frozen=True)
class Drawn:
    """An earlier draft with marks drawn in.

    Attributes
    ----------
    layers : of the draft
    n_marks : marks that it did not show before
    file : name of the file that keeps them
    """

    layers: list[GivenLayer]
    n_marks: int
    file: str = ""

    @property
    def told(self) -> str:
        """What a mapper is told of it."""
        was = "was" if self.n_marks == 1 else "were"
        return (
            f"{counted(self.n_marks, 'mark')} of 'tussock notes' that its draft did not show yet {was} drawn in "
            f"({self.file})"
        )


def with_marks(layers: Sequence[GivenLayer], marks: Sequence[Mark], /, *, changed: Collection[str]) -> Drawn:
    """The layers of a draft with the marks that they do not show yet.

    Parameters
    ----------
    layers : of one CRS, that of the marks
    changed : ids of features that a mapper changed in the draft itself since it was written: that is the later word
    """
    tables = {layer.name: layer.table.set_crs(layer.crs, allow_override=True) for layer in layers}
    rows = {str(row["id"]): row for table in tables.values() for _, row in table.iterrows()}
    waiting = [mark for mark in marks if mark.id not in changed and _is_waiting(mark, rows)]
    if not waiting:
        return Drawn(list(layers), 0)
    applied = apply_marks(tables, waiting).layers
    return Drawn([replace(layer, table=applied[layer.name]) for layer in layers], len(waiting))


def _is_waiting(mark: Mark, rows: Mapping[str, pd.Series]) -> bool:
    """Whether a draft does not show yet what a mark says; who only walked past has said nothing."""
    if mark.is_place or mark.status == "seen":
        return False
    row = rows.get(mark.id)
    if mark.is_deleted or row is None:
        return mark.is_deleted == (row is not None)
    is_said = str(row["status"]) == STATUS_OF.get(mark.status, str(row["status"]))
    is_moved = mark.has_moved and mark.geometry is not None and not mark.geometry.equals_exact(row["geometry"], 0.0)
    is_same = all(plain_value(row.get(name)) == value for name, value in mark.changed.items())
    return not is_said or is_moved or not is_same


def ids_of(
    layers: Sequence[GivenLayer], rows: Mapping[str, frozenset[int]], struck: gpd.GeoDataFrame | None
) -> set[str]:
    """Ids of features that a mapper changed in a draft or took out of it.

    Parameters
    ----------
    rows : layer -> numbers of rows that were changed
    """
    named = {str(layer.table["id"].iloc[row]) for layer in layers for row in rows.get(layer.name, ())}
    return named | (set() if struck is None else set(struck["id"].astype(str)))
