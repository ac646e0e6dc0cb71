"""Spots of a walk as marks: which feature or listed place each of them means, and what it says of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import cast, get_args

import numpy as np
import pandas as pd
import shapely
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from pipeline.marks.edits import base_mark, new_id
from pipeline.marks.mark import Mark, Status
from pipeline.marks.walk import Spot
from pipeline.marks.words import Said, said_in, symbol_in
from pipeline.norm.symbols import norm_table

LISTED_WITHIN_M = 100.0
"""A waypoint that names a listed place and lies farther than this from it was made with another list (our choice)."""
UNTOUCHED_M = 1.5
"""A listed name without a word, as near as this to its place, is the list's own waypoint brought back (our choice)."""
NOT_SEEN_KIND = "not_seen"
"""Kind of a row that asks what is on ground not seen: a word there is about the place, not about the symbol 600.1."""
LEAST_MOVE_M = 0.01
"""Who says "moved" at the very place where the thing was does not say where to, as in a row of the check list."""
LIST_WORDS = 20
"""Letters by which the question of the check list is known: devices cut long texts off."""
PHOTO_WITHIN_M = 20.0
"""A photo without words is of the listed place nearest to it, up to this distance (our choice)."""


@dataclass(frozen=True)
class Ground:
    """What marks are about.

    Attributes
    ----------
    listed : rows of the check list with name, id, symbol, minutes, east_m, north_m, kind
    features : id -> layer and row of the draft as it was written
    known : marks so far, by id
    """

    listed: pd.DataFrame
    features: Mapping[str, tuple[str, pd.Series]]
    known: Mapping[str, Mark]

    def base(self, name: str, /) -> Mark | None:
        """The mark on a feature or listed place, known or yet without a word; None for an id nobody gave."""
        row = self.row_of(name)
        mark = self.known.get(name)
        is_about_unseen = row is not None and row["kind"] == NOT_SEEN_KIND
        if mark is None and name in self.features and not is_about_unseen:
            layer, feature = self.features[name]
            mark = base_mark(feature, layer)
        if mark is None and row is not None:
            place = Point(float(row["east_m"]), float(row["north_m"]))
            mark = Mark(id=name, status="edited", symbol=str(row["symbol"]), is_place=True, geometry=place)
        if mark is not None and row is not None:
            mark = mark.model_copy(update={"name": str(row["name"]), "minutes": float(row["minutes"])})
        return mark

    def row_of(self, name: str, /) -> pd.Series | None:
        """The row of the check list that is about a feature or place; None where there is none."""
        rows = self.listed[self.listed["id"].astype(str) == name]
        return None if rows.empty else rows.iloc[0]

    def id_named(self, name: str, /) -> str:
        """Id of the listed place with a short name."""
        return str(self.listed.loc[self.listed["name"].astype(str) == name, "id"].iloc[0])


@dataclass
class Named:
    """Marks that spots make, and what was not understood.

    Attributes
    ----------
    marks : one for each spot that says something
    untouched : spots of the list that came back without a word
    unclear : texts of spots that mean nothing here
    warnings : what was understood and not taken, in words
    """

    marks: list[Mark] = field(default_factory=list)
    untouched: int = 0
    unclear: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


def marks_of(spots: Sequence[Spot], ground: Ground, /, *, source: str) -> Named:
    """Marks of the spots of one file."""
    found = Named()
    names = set(ground.listed["name"].astype(str))
    for spot in spots:
        said, text = _said(spot, names, set(ground.listed["look_at"].astype(str).str[:LIST_WORDS]))
        its_id = spot.id or (ground.id_named(said.name) if said.name else "")
        base = ground.base(its_id) if its_id else None
        if base is not None and _means_symbol(spot, said, base):
            base, said = None, Said(symbol=said.name)
        if base is not None:
            _of_listed(found, spot, said, base, source)
        elif said.symbol or spot.symbol:
            _of_new(found, spot, said, text, source)
        elif not (spot.is_photo and _of_photo(found, spot, ground, source)):
            found.unclear.append(text or its_id or "a spot without a name")
    return found


def _said(spot: Spot, names: set[str], questions: set[str]) -> tuple[Said, str]:
    """What the texts of a spot say together: the name and word of the first, or the word of a later one.

    A device gives back the question of a listed place beside its name; that is no answer.
    """
    texts = [text for text in spot.texts if text.strip() and text[:LIST_WORDS] not in questions]
    first = said_in(texts[0], names) if texts else Said()
    status = spot.status.strip().lower()
    known = status in get_args(Status)
    word = cast("Status", status) if known else said_in(status).status if status else first.status
    note, symbol = spot.note or first.note, spot.symbol or first.symbol
    for text in texts[1:]:
        more = said_in(text)
        if first.name and more.status is None:
            continue
        word, symbol, note = word or more.status, symbol or more.symbol, note or more.note
    return Said(first.name, word, symbol, note), " ".join(texts[:1])


def _means_symbol(spot: Spot, said: Said, base: Mark) -> bool:
    """Whether a bare number such as 204 is a symbol found there, and not the place of that name on the list."""
    if spot.id or said.status or said.note or said.name not in norm_table():
        return False
    return _away_m(spot, base) > LISTED_WITHIN_M


def _away_m(spot: Spot, base: Mark) -> float:
    """How far a spot is from what it names; 0 where either has no place."""
    shapes = [shape for shape in (base.geometry, base.was.geometry if base.was else None) if shape is not None]
    if spot.place is None or not shapes:
        return 0.0
    return min(float(shapely.distance(shape, spot.place)) for shape in shapes)


def _of_listed(found: Named, spot: Spot, said: Said, base: Mark, source: str) -> None:
    """Add the mark on a feature or place that is known."""
    away_m = _away_m(spot, base)
    label = base.name or base.id
    if away_m > LISTED_WITHIN_M:
        found.warnings.append(
            f"'{' '.join(spot.texts[:1])}' lies {away_m:,.0f} m from the place {label} of the list: it was made with "
            "another list, and was not taken"
        )
        return
    symbol = said.symbol if said.status != "rejected" else ""
    status = said.status or ("confirmed" if symbol else None)
    if status is None and not said.note and not spot.is_photo and away_m <= UNTOUCHED_M:
        found.untouched += 1
        return
    mark = base.model_copy(
        update={"status": status or "seen", "note": said.note, "at": spot.at, "source": source, "is_deleted": False,
                "changed": {key: value for key, value in base.changed.items() if key != "status"}}
    )  # fmt: skip
    if status == "moved":
        mark = _moved(found, mark, spot, label)
    if status == "new":
        mark = mark.model_copy(update={"status": "confirmed"})
    found.marks.append(_as_symbol(found, mark, symbol) if symbol else mark)


def _moved(found: Named, mark: Mark, spot: Spot, label: str) -> Mark:
    """The mark with its feature at the spot: a point stands there, a line or an area is shifted so that it passes."""
    shape = mark.geometry
    if spot.place is None or shape is None or _away_m(spot, mark) < LEAST_MOVE_M:
        found.warnings.append(f"{label} is said to have moved, not where to; it stays where it is")
        return mark.model_copy(update={"status": "confirmed"})
    if mark.is_place:
        return mark.model_copy(update={"geometry": spot.place})
    there: BaseGeometry = spot.place
    if shape.geom_type != "Point":
        nearest = shapely.get_point(shapely.shortest_line(shape, spot.place), 0)
        shift = spot.place.x - nearest.x, spot.place.y - nearest.y
        there = shapely.transform(shape, lambda at: at + shift)
    return mark.model_copy(update={"geometry": there, "has_moved": True})


def _as_symbol(found: Named, mark: Mark, symbol: str) -> Mark:
    """The mark with another symbol for its feature, where the norm can draw that with the same geometry."""
    if mark.is_place:
        return mark.model_copy(update={"symbol": symbol})
    layer = _layer_for(symbol, mark.geometry)
    if not layer:
        found.warnings.append(
            f"{mark.name or mark.id} is said to be {symbol}, which the norm draws in another way than {mark.symbol}; "
            "it stays what it was, and the note is kept"
        )
        return mark
    return mark.model_copy(update={"symbol": symbol, "layer": layer, "changed": mark.changed | {"symbol": symbol}})


def _layer_for(symbol: str, shape: BaseGeometry | None) -> str:
    """The layer for a symbol with this geometry; "" where the norm does not draw it so."""
    try:
        return norm_table().layer_of(symbol, shape) if shape is not None else ""
    except (KeyError, ValueError):
        return ""


def _of_new(found: Named, spot: Spot, said: Said, text: str, source: str) -> None:
    """Add what a mapper found that no draft had: a point symbol is drawn, all else is kept as a note."""
    symbol = spot.symbol or said.symbol
    symbol = symbol if symbol in norm_table() else symbol_in(symbol)
    if said.status == "rejected" or spot.place is None or not symbol:
        found.unclear.append(text or spot.id)
        return
    layer = _layer_for(symbol, spot.place)
    if not layer:
        name = norm_table().name_of(symbol).lower()
        found.warnings.append(
            f"'{text or symbol}' is {symbol} ({name}), which a single point does not draw; it is kept as a note at "
            f"east {spot.place.x:.0f} north {spot.place.y:.0f}: draw it into draft.gpkg"
        )
    its_id = spot.id or new_id(symbol, spot.place)
    row = {"id": its_id, "symbol": symbol, "evidence": "", "origin": "field"}
    found.marks.append(
        Mark(id=its_id, status="new", symbol=symbol, note=said.note, at=spot.at, source=source, is_place=not layer,
             layer=layer, geometry=spot.place, has_moved=True, row=row)
    )  # fmt: skip


def _of_photo(found: Named, spot: Spot, ground: Ground, source: str) -> bool:
    """Add that somebody was at the listed place nearest to a photo; whether there is one."""
    if spot.place is None or ground.listed.empty:
        return False
    away = (ground.listed["east_m"] - spot.place.x) ** 2 + (ground.listed["north_m"] - spot.place.y) ** 2
    if float(away.min()) > PHOTO_WITHIN_M**2:
        return False
    base = ground.base(str(ground.listed["id"].iloc[int(np.argmin(away))]))
    if base is None:
        return False
    note = f"photo {' '.join(spot.texts[:1])}"
    found.marks.append(base.model_copy(update={"status": "seen", "note": note, "at": spot.at, "source": source}))
    return True
