"""Composing the draft: the sections' features become one map.

Clipped to the area, cut against each other where two symbols cannot both stand, freed of what is too small to draw,
turned to magnetic north, named, and sorted into the layers of the draft.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import MultiPolygon, Polygon

from pipeline.borrowed.settling import settle
from pipeline.draft.choosing.prominent import choose_prominent
from pipeline.draft.choosing.share import mostly_sure
from pipeline.draft.choosing.status import Limits, with_status
from pipeline.draft.clipping import clip
from pipeline.draft.collisions import Kept, resolve_areas, resolve_lines, resolve_points
from pipeline.draft.identity import in_fixed_order, stable_ids
from pipeline.draft.narrow import without_narrow_parts
from pipeline.draft.off_water import off_water
from pipeline.draft.record.left_out import left_out, left_out_table
from pipeline.draft.smallest import short_watercourses_proposed, small_fields_as_clusters, without_too_small
from pipeline.draft.spacing.room import make_room
from pipeline.draft.white_rims import fill_pinholes, fill_white_rims
from pipeline.features import join_features, no_features
from pipeline.norm.symbols import SymbolTable
from pipeline.remembered import Remembered, and_at_once, nothing_remembered

MIN_CLIPPED_PART_M = 2.0
"""Crumbs shorter than this that clipping leaves at the edge of the area are no features (our choice)."""
SECTIONS = ("landform", "rock", "water", "vegetation", "manmade")
"""The sections of the ISOM that have layers of points, lines and areas."""
LAYERS = (
    *(f"{section}_{kind}" for section in SECTIONS for kind in ("line", "point", "area")),
    "technical_line",
    "technical_area",
)
COLUMNS = (
    "id",
    "symbol",
    "name",
    "confidence",
    "evidence",
    "status",
    "origin",
    "elevation_m",
    "height_m",
    "width_m",
    "angle_deg",
)
ROUND_DECIMALS = {"confidence": 3, "elevation_m": 2, "height_m": 2, "width_m": 2, "angle_deg": 1}
"""More would pretend to a precision the survey does not have."""


@dataclass(frozen=True)
class Composed:
    """A draft, and what was left out of it.

    Attributes
    ----------
    layers : the layers of the draft by name, each possibly empty
    left_out : one row for each feature dropped, with the reason (`pipeline.draft.record.left_out.COLUMNS`)
    disagreements : points with `look_at` and `why`, where another map and lidar say different things
    """

    layers: dict[str, gpd.GeoDataFrame]
    left_out: pd.DataFrame
    disagreements: gpd.GeoDataFrame


def compose_draft(
    sections: list[gpd.GeoDataFrame],
    outline: Polygon | MultiPolygon,
    /,
    *,
    crs: str,
    north_deg: float,
    symbols: SymbolTable,
    borrowed: gpd.GeoDataFrame | None = None,
    limits: Limits | None = None,
    seen: Polygon | MultiPolygon | None = None,
    remembered: Remembered = nothing_remembered,
) -> Composed:
    """The draft of the features of all sections.

    Parameters
    ----------
    sections : features of each section, as made by `pipeline.features.make_features`
    outline : the area, in the working CRS
    north_deg : float
        Magnetic north, clockwise from grid north.
    symbols : the symbol table: names, layers and least sizes
    borrowed : features of other maps with `origin`, as made by `pipeline.borrowed.matching`
    limits : from where a feature is drawn; None for what is more likely than not
    seen : what the survey covers; None for the area
    remembered : what pieces of the work gave in an earlier run
    """
    remembered = and_at_once(remembered)
    features = clip(join_features(sections, crs), outline, min_part_m=MIN_CLIPPED_PART_M)
    limits = limits or Limits()
    features = with_status(
        features.assign(origin="lidar"),
        limits,
        seen=outline if seen is None else seen,
        decimals=ROUND_DECIMALS["confidence"],
    )
    others = no_features(crs).assign(origin="") if borrowed is None else borrowed
    settled = settle(features, clip(others, outline, min_part_m=MIN_CLIPPED_PART_M))
    features = settled.features
    dropped = [left_out(settled.replaced, "another map has it, drawn where lidar shows it", what="merged")]
    for resolve in (resolve_areas, resolve_lines, resolve_points, off_water):
        features, gone = resolve(features)
        dropped.append(gone)
    chosen = choose_prominent(mostly_sure(features, limits), outline)
    features = chosen.features
    dropped += [
        left_out(part, list(part.get("reason", ())), what=what)
        for what, part in (("merged", chosen.merged), ("not drawn", chosen.lesser))
    ]
    all_wide = partial(without_narrow_parts, outline=outline, remembered=remembered)
    for enforce in (
        all_wide,
        partial(_rims_filled, all_wide=all_wide),
        small_fields_as_clusters,
        without_too_small,
        short_watercourses_proposed,
        fill_pinholes,
    ):
        features, gone = enforce(features, symbols)
        dropped.append(gone)
    # Once more, as some that spoke for others have become part of something else.
    features = in_fixed_order(mostly_sure(features, limits))
    roomy = make_room(features, outline, symbols, north_deg=north_deg, remembered=remembered)
    features = in_fixed_order(roomy.features)
    dropped += roomy.changes
    features["angle_deg"] = (features["angle_deg"] - north_deg) % 360
    for column, decimals in ROUND_DECIMALS.items():
        features[column] = features[column].round(decimals)
    features["id"] = stable_ids(features)
    features["name"] = [symbols.name_of(symbol) for symbol in features["symbol"]]
    return Composed(sort_into_layers(features, symbols), left_out_table(dropped, symbols), settled.disagreements)


def _rims_filled(features: gpd.GeoDataFrame, symbols: SymbolTable, /, *, all_wide: Callable[..., Kept]) -> Kept:
    """The features with white rims filled, and what that left narrow mended."""
    filled, merged = fill_white_rims(features, symbols)
    if filled is features:
        return filled, merged
    wide, gone = all_wide(filled, symbols)
    return wide, join_features([merged, gone], str(features.crs))


def sort_into_layers(features: gpd.GeoDataFrame, symbols: SymbolTable, /) -> dict[str, gpd.GeoDataFrame]:
    """The features by layer of the draft, with the draft's columns in their fixed order."""
    ordered = features[[*COLUMNS, "geometry"]]
    pairs = zip(features["symbol"], features.geometry, strict=True)
    layer = np.array([symbols.layer_of(symbol, geometry) for symbol, geometry in pairs], dtype=str)
    return {name: ordered[layer == name].reset_index(drop=True) for name in LAYERS}
