"""The refreshed map: a mapper's features as they were, bit for bit, and around them what the new draft has."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.draft.identity import stable_ids
from pipeline.refresh.keep.same import without_said
from pipeline.refresh.old.columns import KEY, NUMBER
from pipeline.refresh.old.ground import group_of
from pipeline.refresh.old.old_map import GROUND_COLUMN, ROW, OldMap

ASIDE = "technical"
ORIGINAL, MAPPED = "technical_original", "technical_mapped"
"""Layers that a refresh notes for the next one: geometry of features that came in another coordinate system, and the
ground that a finished map covers."""
OURS = ("layer", "is_kept", KEY, NUMBER)
"""Columns that are not written."""
JITTER_M = (-2.0, 0.0, 2.0)
"""How far a feature may be found from where it was found before and still be meant by the same id, in metres (our
choice: a quarter of the square that an id of a point stands for)."""


_MADE = re.compile(r"[0-9a-f]{12}(-\d+)?")  # an id that a draft gave, not a map's own


@dataclass(frozen=True)
class Kept:
    """A refreshed map.

    Attributes
    ----------
    layers : as written: those of the draft, and what is noted for the next refresh
    left_out : features of the new draft that gave way, with `reason`
    n_kept, n_new, n_carried : features that are a mapper's, from the new draft, and of the old draft on ground that the
        new survey does not cover
    """

    layers: dict[str, gpd.GeoDataFrame]
    left_out: gpd.GeoDataFrame
    n_kept: int
    n_new: int
    n_carried: int


def refreshed_map(
    old: OldMap,
    laid: NDArray[np.object_],
    draft: Mapping[str, gpd.GeoDataFrame],
    covered: BaseGeometry | None,
    /,
    *,
    up_m: float = 0.0,
    more_m: float = 0.0,
    back: tuple[float, float] = (0.0, 0.0),
) -> Kept:
    """The map to go on with.

    Parameters
    ----------
    laid : (n,) geometry of `old.features` in the frame of the new survey
    draft : the layers of the new draft
    covered : ground of the new survey in the working CRS; None where it is not known
    up_m : what heights of the old survey are too low by
    more_m : how far off a feature may lie beyond what two drawings of one thing do
    back : east and north in metres by which the old survey lies beside the new one
    """
    said = _said(old, laid, up_m)
    fresh = _all_of(draft)
    aside = fresh["layer"].str.startswith(ASIDE).to_numpy(np.bool_)
    is_same = _same_ids(fresh, said, back) | fresh["id"].astype(str).isin(list(old.struck_ids)).to_numpy(np.bool_)
    is_mapped = _on_mapped_ground(fresh, old.ground)
    rest = without_said(fresh[~aside & ~is_same & ~is_mapped], said, more_m=more_m)
    lines = fresh[aside & ~_drawn_by_the_map(fresh, old)]
    left_out = [
        fresh[is_same & ~aside].assign(reason="the mapper has said what it is"),
        fresh[is_mapped & ~is_same & ~aside].assign(reason="on ground that the finished map shows"),
        rest.gone,
    ]
    kept = old.given[old.given["is_kept"].to_numpy(np.bool_)]
    carried = _carried(old, covered)
    new = gpd.GeoDataFrame(pd.concat([rest.features, lines], ignore_index=True), geometry="geometry", crs=fresh.crs)
    layers = _layers([kept, carried, new], draft)
    gone = gpd.GeoDataFrame(pd.concat(left_out, ignore_index=True), geometry="geometry", crs=fresh.crs)
    return Kept(layers | _noted(old), gone, len(kept), len(rest.features), len(carried))


def _said(old: OldMap, laid: NDArray[np.object_], up_m: float) -> gpd.GeoDataFrame:
    """The mapper's features in the frame of the new survey, and what was struck out, as rejected."""
    columns = ["id", "symbol", "status", "elevation_m", "geometry"]
    is_kept = old.given["is_kept"].to_numpy(np.bool_)[old.features[ROW].to_numpy()]
    table = old.features.assign(geometry=laid)[is_kept][columns]
    tables = [table] + ([old.struck.assign(status="rejected")[columns]] if old.struck is not None else [])
    said = gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), geometry="geometry", crs=old.features.crs)
    said["id"] = said["id"].fillna("")
    said["elevation_m"] = pd.to_numeric(said["elevation_m"], errors="coerce") + up_m
    return said


def _all_of(draft: Mapping[str, gpd.GeoDataFrame]) -> gpd.GeoDataFrame:
    """All features of a draft with the `layer` they are of."""
    tables = [table.assign(layer=name) for name, table in draft.items() if len(table)]
    first = next(iter(draft.values()))
    joined = pd.concat(tables, ignore_index=True) if tables else first.assign(layer=pd.Series(dtype=object))
    return gpd.GeoDataFrame(joined, geometry="geometry", crs=first.crs)


def _same_ids(fresh: gpd.GeoDataFrame, said: gpd.GeoDataFrame, back: tuple[float, float]) -> NDArray[np.bool_]:
    """(n,) whether a feature is the one that a mapper put elsewhere, called otherwise or rejected.

    Its id says so; or, where the id is another one because the survey lies a little beside the old one, the id that
    it would have had where it was found before. Only one feature goes for each of the mapper's.
    """
    ids = fresh["id"].astype(str).to_numpy(object)
    spoken = set(said["id"].astype(str))
    found = np.isin(ids.astype(str), list(spoken))
    waiting = (spoken & set(_put_elsewhere(said, back))) - set(ids[found])
    if not waiting or fresh.empty:
        return found
    sure = np.argsort(-fresh["confidence"].fillna(0).to_numpy(np.float64), kind="stable")
    for names in _ids_around(fresh, back):
        for row in sure:
            if names[row] in waiting and not found[row]:
                found[row] = True
                waiting.discard(names[row])
    return found


def _put_elsewhere(said: gpd.GeoDataFrame, back: tuple[float, float]) -> list[str]:
    """Ids of the mapper's features that are no longer where their id says that they were found."""
    named = said[said["symbol"].astype(str) != ""]
    here = stable_ids(named.assign(geometry=_moved(named, -back[0], -back[1]), height_m=np.nan))
    pairs = zip(named["id"].astype(str), here, strict=True)
    return [name for name, own in pairs if _MADE.fullmatch(name) and name.split("-")[0] != own.split("-")[0]]


def _moved(features: gpd.GeoDataFrame, east_m: float, north_m: float) -> NDArray[np.object_]:
    step = np.array([east_m, north_m])
    return np.asarray(shapely.transform(features.geometry.to_numpy(), lambda places: places + step), object)


def _ids_around(fresh: gpd.GeoDataFrame, back: tuple[float, float]) -> list[list[str]]:
    """The ids that the features would have had in the old survey: where they are now, and a little to each side."""
    steps = sorted(((e, n) for e in JITTER_M for n in JITTER_M), key=lambda step: np.hypot(*step))
    named = fresh["symbol"].notna() & (fresh["symbol"] != "")
    found = []
    for east_m, north_m in steps:
        shapes = _moved(fresh, east_m - back[0], north_m - back[1])
        found.append(stable_ids(fresh.assign(geometry=shapes)) if named.all() else [""] * len(fresh))
    return found


def _on_mapped_ground(fresh: gpd.GeoDataFrame, ground: gpd.GeoDataFrame | None) -> NDArray[np.bool_]:
    """(n,) whether a finished map shows the ground and has features of the same layer: what it leaves out, it means."""
    on_it = np.zeros(len(fresh), np.bool_)
    if ground is None:
        return on_it
    layers = [group_of(str(symbol), layer) for symbol, layer in zip(fresh["symbol"], fresh["layer"], strict=True)]
    middle = shapely.point_on_surface(fresh.geometry.to_numpy())
    for holds, area in zip(ground[GROUND_COLUMN], ground.geometry, strict=True):
        shapely.prepare(area)
        on_it |= np.isin(layers, str(holds).split()) & shapely.intersects(area, middle)
    return on_it


def _drawn_by_the_map(fresh: gpd.GeoDataFrame, old: OldMap) -> NDArray[np.bool_]:
    """(n,) whether it is a north line and the mapper's map has its own."""
    own = old.given[NUMBER][old.given["is_kept"].to_numpy(np.bool_)]
    return np.asarray((fresh["symbol"] == "601") & bool((own == "601").any()), np.bool_)


def _carried(old: OldMap, covered: BaseGeometry | None) -> gpd.GeoDataFrame:
    """Features of the old draft that lie wholly where the new survey has nothing."""
    rest = old.given[~old.given["is_kept"].to_numpy(np.bool_)]
    if covered is None or rest.empty:
        return rest.iloc[:0]
    shapely.prepare(covered)
    is_outside = ~shapely.intersects(covered, rest.geometry.to_numpy()) & ~rest.geometry.isna().to_numpy()
    return rest[is_outside & ~rest["layer"].str.startswith(ASIDE).to_numpy()]


def _layers(tables: list[gpd.GeoDataFrame], draft: Mapping[str, gpd.GeoDataFrame]) -> dict[str, gpd.GeoDataFrame]:
    """The features by layer, those of the mapper first."""
    filled = [table for table in tables if len(table)] or tables[:1]
    names = list(dict.fromkeys([*draft, *(str(n) for table in filled for n in table["layer"])]))
    return {name: _joined([table[table["layer"] == name] for table in filled], draft.get(name)) for name in names}


def _joined(tables: list[gpd.GeoDataFrame], like: gpd.GeoDataFrame | None) -> gpd.GeoDataFrame:
    """Rows of one layer; a column stays only where a row of the layer has a value in it or the draft has it."""
    rows = [table.drop(columns=[name for name in OURS if name in table]) for table in tables]
    filled = [table for table in rows if len(table)]
    if not filled:
        return like if like is not None else rows[0]
    wanted = set(like.columns) if like is not None else set()
    whole = [table.drop(columns=[n for n in table if n not in wanted and table[n].isna().all()]) for table in filled]
    joined = pd.concat([_as_objects(table) for table in whole], ignore_index=True)
    return gpd.GeoDataFrame(_typed(joined, whole), geometry="geometry", crs=filled[0].crs)


def _as_objects(table: gpd.GeoDataFrame) -> pd.DataFrame:
    """A table whose values survive a join with another one as they are."""
    return pd.DataFrame({name: table[name].astype(object) for name in table.columns}, index=table.index)


def _typed(joined: pd.DataFrame, tables: list[gpd.GeoDataFrame]) -> pd.DataFrame:
    """Columns in the type that all tables have them in; in text where two tables disagree."""
    found = {}
    for name in joined.columns:
        if name == "geometry":
            found[name] = joined[name]
            continue
        having = [table[name] for table in tables if name in table]
        kinds = {str(column.dtype) for column in having if column.notna().any()} or {str(having[0].dtype)}
        if len(kinds) == 1:
            kind = kinds.pop()
            found[name] = joined[name] if kind in ("str", "object") else pd.Series(joined[name], dtype=kind)
        elif all(pd.api.types.is_numeric_dtype(kind) for kind in kinds):
            found[name] = pd.to_numeric(joined[name]).astype(np.float64)
        else:
            found[name] = joined[name].where(joined[name].isna(), joined[name].astype(str))
    return pd.DataFrame(found, index=joined.index)


def _noted(old: OldMap) -> dict[str, gpd.GeoDataFrame]:
    """What the next refresh must know."""
    found = {f"{ORIGINAL}_{number}": table for number, table in enumerate(old.originals.values(), start=1)}
    return found if old.ground is None else {**found, MAPPED: old.ground}
