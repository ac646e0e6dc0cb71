"""From the layers of a file to an earlier map with the columns of a draft."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely
from numpy.typing import NDArray

from pipeline.errors import InputError, counted
from pipeline.norm.symbols import SymbolTable
from pipeline.refresh.old.columns import KEY, NUMBER, filled_columns
from pipeline.refresh.old.ground import ground_of_map
from pipeline.refresh.old.numbers import NOT_A_SYMBOL, Numbered, numbers_of
from pipeline.refresh.old.old_map import ROW, GivenLayer, Kind, OldMap
from pipeline.refresh.old.shapes import Single, closed_as_areas, layer_names, single_shapes

UNTOUCHED = ("draft", "candidate", "imported")
"""Values of `status` that a draft gives by itself: nobody has said anything of such a feature."""
FIELD = "field"
"""`origin` of what a mapper added."""
RUN_COLUMNS = ("id", "symbol", "confidence", "status", "origin")
"""A layer with these columns comes from a draft."""
ASIDE = "technical"
"""What the names of layers begin with that hold no features of the terrain: sheet edge, north lines, what a refresh
notes for the next one."""
MOST_LISTED = 12
"""So many unknown numbers are named in a message; the others are counted."""


def is_of_a_draft(layers: Sequence[GivenLayer], /) -> bool:
    """Whether these layers were written as a draft, so that `status` says which features a mapper has seen."""
    filled = [layer for layer in layers if len(layer.table)]
    return bool(filled) and all(set(RUN_COLUMNS) <= set(layer.table.columns) for layer in filled)


def understand(
    layers: Sequence[GivenLayer],
    /,
    *,
    source: Path,
    crs: str,
    symbols: SymbolTable,
    own_numbers: Mapping[str, str],
    kind: Kind,
    edited: Mapping[str, frozenset[int]] | None = None,
) -> OldMap:
    """An earlier map with the columns of a draft.

    Parameters
    ----------
    layers : all of which say their CRS
    source : for messages, as the user named it
    crs : the working CRS of the new area
    own_numbers : the mapper's numbers -> ISOM numbers
    edited : layer -> rows of a draft that a mapper added or changed, with or without a word in `status`

    Raises
    ------
    InputError
        If there is no feature, none with a symbol number, or numbers that nothing is known of.
    """
    layers = [layer for layer in layers if len(layer.table)]
    if not layers:
        raise InputError(f"{source}: holds no feature; name the map or the folder of the run that you mean")
    read = [numbers_of(layer, own_numbers, symbols) for layer in layers]
    _refuse_unknown(source, layers, read, has_table=bool(own_numbers))
    tables = [
        filled_columns(layer, numbers, symbols, source, kind) for layer, numbers in zip(layers, read, strict=True)
    ]
    moved = [_in_crs(table, layer, crs) for table, layer in zip(tables, layers, strict=True)]
    given = gpd.GeoDataFrame(pd.concat(moved, ignore_index=True), geometry="geometry", crs=crs)
    if kind == "map":  # ids of several layers may be the same numbers
        given["id"] = given["id"].where(~given["id"].duplicated(keep=False), None)
    given[KEY] = _keys(given)
    if kind == "map":
        given["id"] = given[KEY]
    given["is_kept"] = True if kind == "map" else _is_mappers(given) | is_edited(layers, edited or {})
    own = np.concatenate([table.geometry.to_numpy() for table in tables])
    layer_crs = np.concatenate([[str(layer.crs)] * len(layer.table) for layer in layers])
    single = single_shapes(given.geometry.to_numpy())
    features = _features(given, single, symbols)
    if features.empty:
        raise InputError(f"{source}: no feature with a symbol has a place; check its geometry")
    return OldMap(
        features=features,
        given=given,
        kind=kind,
        source=source,
        originals=_originals(given, own, layer_crs, crs),
        ground=ground_of_map(features) if kind == "map" else None,
        notes=_notes(single, read, given),
    )


def _refuse_unknown(source: Path, layers: Sequence[GivenLayer], read: Sequence[Numbered], *, has_table: bool) -> None:
    unknown: Counter[str] = Counter()
    for one in read:
        unknown.update(one.unknown)
    known = sum(one.n_known for one in read)
    n = sum(unknown.values())
    most = unknown.most_common(MOST_LISTED)
    listed = ", ".join(f"'{text}' ({times:,})" for text, times in most)
    more = f" and {counted(len(unknown) - len(most), 'other')}" if len(unknown) > len(most) else ""
    table = (
        "add them to the table of '--numbers'"
        if has_table
        else ("write a table with a column of your numbers and a column 'isom', and name it with '--numbers TABLE.csv'")
    )
    if not known:
        columns = dict.fromkeys(str(c) for layer in layers for c in layer.table.columns if c != "geometry")
        held = ", ".join(list(columns)[:MOST_LISTED]) or "none"
        found = f"; found instead: {listed}{more}" if unknown else ""
        raise InputError(
            f"{source}: no ISOM number in a column 'symbol', 'isom', 'number' or 'code', nor in the names of layers "
            f"(its columns: {held}){found}. Add a column 'symbol' with the numbers of ISOM 2017-2; if the map has "
            f"numbers of its own, {table}"
        )
    if unknown:
        raise InputError(
            f"{source}: {counted(n, 'feature')} with numbers that ISOM 2017-2 does not have: {listed}{more}. "
            f"Correct them in the map, or {table}; an empty 'isom' keeps a feature without comparing it"
        )


def _in_crs(table: gpd.GeoDataFrame, layer: GivenLayer, crs: str) -> gpd.GeoDataFrame:
    """A layer in the working CRS; untouched where it is in it already."""
    if same_crs(str(layer.crs), crs):
        return table.set_crs(crs, allow_override=True)
    moved: gpd.GeoDataFrame = table.set_crs(layer.crs, allow_override=True).to_crs(crs)
    return moved


def same_crs(one: str, other: str, /) -> bool:
    """Whether two names mean the same horizontal system, whichever of its axes is told first."""
    first, second = pyproj.CRS(one), pyproj.CRS(other)
    flat = [crs.sub_crs_list[0] if crs.is_compound else crs for crs in (first, second)]
    return bool(flat[0].equals(flat[1], ignore_axis_order=True))


def _is_mappers(given: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    """(n,) whether a mapper has said something of a feature of a draft: by its status, or by adding it."""
    status = given["status"].fillna("").astype(str).str.strip().str.casefold()
    added = given["origin"].fillna("").astype(str) == FIELD
    return np.asarray(~status.isin(UNTOUCHED) | added, np.bool_)


def is_edited(layers: Sequence[GivenLayer], edited: Mapping[str, frozenset[int]], /) -> NDArray[np.bool_]:
    """(n,) whether a mapper added or changed a row, over all layers, of which none is empty."""
    own = [np.isin(np.arange(len(layer.table)), list(edited.get(layer.name, ()))) for layer in layers]
    return np.concatenate(own)


def _keys(given: gpd.GeoDataFrame) -> list[str]:
    """(n,) a name for each feature: its id, or for one without an id a name from what and where it is."""
    shapes = shapely.to_wkb(given.geometry.to_numpy())
    seen: Counter[str] = Counter()
    taken = {str(name) for name in given["id"] if isinstance(name, str) and name}
    found = []
    for name, symbol, shape in zip(given["id"], given[NUMBER], shapes, strict=True):
        if isinstance(name, str) and name:
            found.append(name)
            continue
        key = "map-" + hashlib.sha256(f"{symbol}|".encode() + (shape or b"")).hexdigest()[:12]
        seen[key] += 1
        made = key if seen[key] == 1 and key not in taken else f"{key}-{seen[key] + (key in taken)}"
        found.append(made)
    return found


def _features(given: gpd.GeoDataFrame, single: Single, symbols: SymbolTable) -> gpd.GeoDataFrame:
    """Single valid features of the terrain, with the row of `given` they are of."""
    table = given.drop(columns="geometry").iloc[single.row].reset_index(drop=True)
    table = table.assign(symbol=table[NUMBER], id=table[KEY])
    numbers = table["symbol"].to_numpy(object)
    shapes = closed_as_areas(numbers, single.shapes, symbols)
    table[ROW] = single.row
    table["layer"] = layer_names(numbers, shapes, symbols)
    features = gpd.GeoDataFrame(table, geometry=shapes, crs=given.crs)
    is_terrain = (features["symbol"] != NOT_A_SYMBOL) & ~features["layer"].str.startswith(ASIDE)
    return features[is_terrain].reset_index(drop=True)


def _originals(
    given: gpd.GeoDataFrame,
    own: NDArray[np.object_],
    layer_crs: NDArray[np.str_],
    crs: str,
) -> dict[str, gpd.GeoDataFrame]:
    """Geometry as it came, of features that came in another CRS."""
    found = {}
    for name in dict.fromkeys(layer_crs.tolist()):
        if not same_crs(name, crs):
            rows = (layer_crs == name) & given["is_kept"].to_numpy(np.bool_)
            keys = given[KEY].to_numpy(object)[rows]
            found[name] = gpd.GeoDataFrame({"id": keys}, geometry=own[rows], crs=name)
    return found


def _notes(single: Single, read: Sequence[Numbered], given: gpd.GeoDataFrame) -> tuple[str, ...]:
    """What was mended, taken apart or left aside."""
    aside = int((given[NUMBER] == NOT_A_SYMBOL).sum())
    beside = sum(one.beside_table for one in read)
    words = (
        (single.n_mended, f"{counted(single.n_mended, 'geometry', 'geometries')} mended for comparing"),
        (
            single.n_split,
            f"{counted(single.n_split, 'geometry', 'geometries')} of several parts taken apart for comparing",
        ),
        (single.n_empty, f"{counted(single.n_empty, 'feature')} without a place, not compared"),
        (aside, f"{counted(aside, 'feature')} without a symbol, not compared"),
        (
            beside,
            f"{counted(beside, 'feature')} not in the table, read as ISOM 2017-2",
        ),
    )
    return tuple(text for number, text in words if number)
