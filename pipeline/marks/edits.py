"""What a mapper changed in a draft in a GIS: the draft as it was written against the draft as it is found."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.errors import counted
from pipeline.marks.apply import plain_row, plain_value
from pipeline.marks.mark import Mark, Status, Value, Was
from pipeline.norm.symbols import norm_table

STATED, PROPOSED, HARDLY_SEEN = "stated", "proposed", "hardly_seen"
"""Columns of the draft as it was written that draft.gpkg lacks: confidence and status before anything was learned from
marks, and whether the feature lies on ground that the survey hardly saw."""
NOT_COMPARED = ("geometry", STATED, PROPOSED, HARDLY_SEEN, "fid", "layer", "path", "place")
"""Columns that are not the mapper's: a GIS adds `layer` and `path` where it joins layers."""
NOT_ADDED = (*NOT_COMPARED, "confidence", "evidence", "origin", "name")
"""Columns of a row that was added which are not the mapper's: a GIS copies them with the row that it was drawn from."""
UNTOUCHED = ("draft", "candidate", "imported")
"""Values of `status` that a draft gives by itself."""
SAME_SHAPE_M, SAME_SHAPE_AGAIN_M = 1e-6, 0.02
"""Coordinates this near are equal; the second where a copy came back in another coordinate system, which costs
millimetres (our choice)."""
FEW_ROWS, MOST_GONE_SHARE = 20, 0.5
"""Where a layer of more rows than the first has lost more than the second, that is a copy of a part rather than a
mapper who struck out one by one (our choice)."""


@dataclass
class Edits:
    """What was changed.

    Attributes
    ----------
    marks : what the changes say
    withdrawn : ids of features whose mark was taken back
    warnings : what could not be taken in, in words
    """

    marks: list[Mark] = field(default_factory=list)
    withdrawn: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.marks or self.withdrawn)


def edits_between(
    written: Mapping[str, gpd.GeoDataFrame],
    edited: Mapping[str, gpd.GeoDataFrame],
    known: Mapping[str, Mark],
    /,
    *,
    source: str,
    at: str,
    is_exact: bool = True,
) -> Edits:
    """Marks that say what was changed: a status, a place, a shape, a value, a row struck out or added.

    A row is known by its id, in whatever layer it is found. Rows with no id, with one that the draft never gave, or
    with one that stands there a second time were added.

    Parameters
    ----------
    written : the layers as the draft wrote them, with STATED, PROPOSED and HARDLY_SEEN
    edited : the layers as they are found, in the same CRS
    known : marks that were in the draft when it was written, by id
    is_exact : whether the copy kept the coordinate system of the draft
    """
    found = Edits()
    before = {str(row["id"]): (name, row) for name, table in written.items() for _, row in table.iterrows()}
    seen: set[str] = set()
    tolerance_m = SAME_SHAPE_M if is_exact else SAME_SHAPE_AGAIN_M
    for layer, table in edited.items():
        for _, row in table.iterrows():
            shape = _single(row["geometry"])
            if shape is None:
                continue
            name = str(plain_value(row.get("id")) or "")
            if name in before and name not in seen:
                seen.add(name)
                _compare(found, *before[name], row, shape, known.get(name), (source, at, tolerance_m))
            else:
                _add(found, layer, row, shape, "" if name in before else name, (source, at))
    _strike_out(found, written, edited, seen, known, (source, at))
    found.marks = [mark for mark in found.marks if not _is_known(mark, known.get(mark.id))]
    return found


def _is_known(mark: Mark, known: Mark | None) -> bool:
    """Whether a change was taken in before, and the draft has not been made again since."""
    return known is not None and known == mark.model_copy(update={"at": known.at, "source": known.source})


def _single(shape: object) -> BaseGeometry | None:
    """A geometry of one part, since a GIS may make a multi-part geometry of it; None for none."""
    if not isinstance(shape, BaseGeometry) or shape.is_empty:
        return None
    parts = shapely.get_parts(shape)
    return parts[0] if len(parts) == 1 else shape


def _compare(
    found: Edits,
    layer: str,
    before: pd.Series,
    after: pd.Series,
    shape: BaseGeometry,
    mark: Mark | None,
    told: tuple[str, str, float],
) -> None:
    """Add what one feature's changes say; nothing where it is as it was."""
    source, at, tolerance_m = told
    changed = _changed(before, after)
    has_moved = not _same_shape(before["geometry"], shape, tolerance_m)
    if not changed and not has_moved:
        return
    status = str(changed.get("status") or "")
    base = mark or base_mark(before, layer)
    is_back = set(changed) == {"status"} and not has_moved and base.was is not None and status == base.was.status
    if mark and is_back and status in UNTOUCHED:
        found.withdrawn.append(base.id)
        return
    moved = has_moved or base.has_moved
    symbol = str(changed.get("symbol") or base.symbol)
    found.marks.append(
        base.model_copy(
            update={
                "status": _status_of(status, str(before["status"]), base, has_moved, "symbol" in changed),
                "symbol": symbol,
                "at": at,
                "source": source,
                "layer": _layer_of(symbol, shape, layer) or layer,
                "geometry": shape if has_moved else base.geometry,
                "has_moved": moved,
                "is_deleted": False,
                "changed": base.changed | changed,
            }
        )
    )


def _status_of(status: str, before: str, base: Mark, has_moved: bool, is_other_symbol: bool) -> Status:
    """What a change means. A word of the mapper's own in `status` means that the thing is there."""
    there: Status = "new" if base.status == "new" else "moved" if has_moved or base.has_moved else "confirmed"
    if status == "rejected" or (not status and before == "rejected"):
        return "rejected"
    if status == "candidate":
        return "edited"
    if status or has_moved or is_other_symbol:
        return there
    return base.status if base.source else "edited"


def base_mark(before: pd.Series, layer: str, /) -> Mark:
    """A mark on a feature of the draft as it was written, that says nothing yet: `edited`, without a source."""
    shape: BaseGeometry = before["geometry"]
    stated = plain_value(before.get(STATED, before.get("confidence")))
    return Mark(
        id=str(before["id"]),
        status="edited",
        symbol=str(before["symbol"]),
        layer=layer,
        geometry=shape,
        row={key: value for key, value in plain_row(before).items() if key not in NOT_COMPARED},
        was=Was(
            symbol=str(before["symbol"]),
            confidence=float(stated) if isinstance(stated, int | float) else 0.5,
            status=str(before.get(PROPOSED) or before.get("status")),
            is_hardly_seen=bool(before.get(HARDLY_SEEN) or False),
            geometry=shape,
        ),
    )


def _changed(before: pd.Series, after: pd.Series) -> dict[str, Value]:
    """Columns whose value is another one now. A column that is gone, or was added and is empty, is no change."""
    pairs = {
        str(name): (plain_value(before.get(name)), plain_value(value))
        for name, value in after.items()
        if name not in NOT_COMPARED
    }
    return {name: new for name, (old, new) in pairs.items() if new != old and not (old is None and new == "")}


def _same_shape(one: BaseGeometry, other: BaseGeometry, tolerance_m: float) -> bool:
    if tolerance_m == SAME_SHAPE_M and one.equals_exact(other, 0):
        return True
    return bool(shapely.equals_exact(shapely.normalize(one), shapely.normalize(other), tolerance_m))


def _layer_of(symbol: str, shape: BaseGeometry, layer: str) -> str:
    """The layer that a feature belongs to; "" where the norm has no such symbol or draws it otherwise."""
    if layer.startswith("technical"):
        return layer
    try:
        return norm_table().layer_of(symbol, shape)
    except (KeyError, ValueError):
        return ""


def _add(found: Edits, layer: str, row: pd.Series, shape: BaseGeometry, name: str, told: tuple[str, str]) -> None:
    """Add a new feature, one for each part; a warning where the norm cannot draw it."""
    symbol = str(plain_value(row.get("symbol")) or "").removesuffix(".0")
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, BaseGeometry)]
    its_layer = _layer_of(symbol, parts[0], "") if symbol else ""
    if not its_layer:
        what = f"symbol {symbol}, which the norm does not draw so" if symbol else "no symbol"
        found.warnings.append(f"a row that was added to {layer} has {what}; it was left out ({_place(shape)})")
        return
    values = {key: value for key, value in plain_row(row).items() if key not in NOT_ADDED and value not in (None, "")}
    if values.get("status") in UNTOUCHED:
        del values["status"]
    for number, part in enumerate(parts):
        its_name = (name if number == 0 else "") or new_id(symbol, part)
        found.marks.append(
            Mark(
                id=its_name, status="new", symbol=symbol, at=told[1], source=told[0], layer=its_layer, geometry=part,
                has_moved=True, changed=values | {"id": its_name, "symbol": symbol}, row=values,
            )
        )  # fmt: skip


def new_id(symbol: str, shape: BaseGeometry, /) -> str:
    """An id for what a mapper added, from what and where it is, so that reading the same file again adds nothing."""
    return "field-" + hashlib.sha256(f"{symbol}|{shapely.to_wkb(shape, hex=True)}".encode()).hexdigest()[:12]


def _place(shape: BaseGeometry) -> str:
    middle = shape.centroid
    return f"east {middle.x:.0f} north {middle.y:.0f}"


def _strike_out(
    found: Edits,
    written: Mapping[str, gpd.GeoDataFrame],
    edited: Mapping[str, gpd.GeoDataFrame],
    seen: set[str],
    known: Mapping[str, Mark],
    told: tuple[str, str],
) -> None:
    """Add rejections of rows that were taken out of a layer that is there."""
    for layer, table in written.items():
        if layer not in edited:
            if len(table):
                found.warnings.append(f"layer {layer} is not there; its features stay as they were")
            continue
        gone = table[~table["id"].astype(str).isin(seen)]
        if len(table) > FEW_ROWS and len(gone) > MOST_GONE_SHARE * len(table):
            found.warnings.append(
                f"layer {layer} lacks {counted(len(gone), 'row')} of {len(table)}, as a copy of a part would; none of "
                "them counts as rejected. Give those that are not there the status 'rejected'"
            )
            continue
        for _, row in gone.iterrows():
            base = known.get(str(row["id"])) or base_mark(row, layer)
            update = {"status": "rejected", "is_deleted": True, "source": told[0], "at": told[1], "changed": {}}
            found.marks.append(base.model_copy(update=update))


def as_written(
    layers: Mapping[str, gpd.GeoDataFrame], stated: Mapping[str, tuple[float, str, bool]], /
) -> dict[str, gpd.GeoDataFrame]:
    """The layers with what the draft stated of each feature before it learned from marks.

    Parameters
    ----------
    stated : id -> confidence, status, whether on ground hardly seen; a feature that is missing has what it shows
    """
    found = {}
    for name, table in layers.items():
        rows = [
            stated.get(str(key), (float(confidence), str(status), False))
            for key, confidence, status in zip(table["id"], table["confidence"], table["status"], strict=True)
        ]
        columns = list(zip(*rows, strict=True)) if rows else [(), (), ()]
        found[name] = table.assign(
            **{
                STATED: np.array(columns[0], np.float64),
                PROPOSED: np.array(columns[1], object),
                HARDLY_SEEN: np.array(columns[2], np.bool_),
            }
        )
    return found
