"""What the features of a draft leave to ask on foot."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.fieldwork.questions.matters import looks
from pipeline.fieldwork.questions.table import question_table
from pipeline.norm.symbols import SymbolTable

CANDIDATE = "candidate"
ASKED = ("draft", "imported", CANDIDATE)
"""Values of `status` of features that nobody has looked at on foot."""
NOT_SEEN = "600.1"
NOT_ASKED = ("101", "101.1", "102", "103")
"""Contours and their slope lines: where one runs is a matter of measured height, and nobody can see it on foot. Where
the ground was not seen, areas 600.1 say so."""
LEAST_VALUE = 0.03
"""Chance of a change to the map, times how much it matters, below which a look is not worth its minutes: one single
boulder in 33 (fitted on scene_a, hard_moraine and hard_karst: with more, features that were wrong were not asked)."""
RARELY_WRONG = {"204": 0.5, "205": 0.5, "206": 0.5, "207": 0.5, "410": 0.5}
"""Symbols of which what is drawn is wrong half as often as its confidence says: of 40 doubtful boulders 3 were, where 9
were to be expected, of 26 areas of 410 2 instead of 6 (fitted on scene_a, hard_moraine and hard_karst)."""
NOT_SEEN_SIDE_M = 60.0
"""Side of the squares that ground not seen is cut into, a place to look at in each: one sees some 30 m into a forest
(our choice)."""
LEAST_NOT_SEEN_M2 = 100.0
"""Smaller pieces of ground not seen are no question of their own: a mapper who passes sees them whole (our choice)."""


def questions_of_draft(
    layers: Mapping[str, gpd.GeoDataFrame], /, *, symbols: SymbolTable, crs: str
) -> gpd.GeoDataFrame:
    """Each candidate, each drawn feature in doubt, and the ground not seen, as rows of `question_table`.

    The chance that a look changes the map is the confidence of a candidate (it comes to be drawn) and what is missing
    to certainty of a drawn feature (it goes), less where what is drawn is RARELY_WRONG.

    Parameters
    ----------
    layers : of `draft.gpkg`, by name
    """
    tables = [table for table in layers.values() if len(table)]
    found = [_of_layer(table[table["status"].isin(ASKED)], symbols) for table in tables]
    kept = [table for table in found if len(table)]
    if not kept:
        return question_table(pd.DataFrame(), [], crs=crs)
    return gpd.GeoDataFrame(pd.concat(kept, ignore_index=True), geometry="geometry", crs=crs)


def _of_layer(table: gpd.GeoDataFrame, symbols: SymbolTable) -> gpd.GeoDataFrame:
    """The questions of one layer."""
    is_unseen = (table["symbol"] == NOT_SEEN).to_numpy()
    of_features = _of_features(table[~is_unseen & ~table["symbol"].isin(NOT_ASKED).to_numpy()], symbols)
    if not is_unseen.any():
        return of_features
    return pd.concat([of_features, _of_unseen(table[is_unseen])], ignore_index=True)


def _of_features(table: gpd.GeoDataFrame, symbols: SymbolTable) -> gpd.GeoDataFrame:
    """One question a feature in doubt."""
    is_candidate = (table["status"] == CANDIDATE).to_numpy()
    confidence = table["confidence"].to_numpy(np.float64)
    ratio = np.array([RARELY_WRONG.get(number, 1.0) for number in table["symbol"]], np.float64)
    chance = np.where(is_candidate, confidence, ratio * (1 - confidence))
    look = [looks()[number] for number in table["symbol"]]
    in_doubt = chance * np.array([one.matters for one in look], np.float64) >= LEAST_VALUE
    table, chance, is_candidate = table[in_doubt], chance[in_doubt], is_candidate[in_doubt]
    look = [one for one, asked in zip(look, in_doubt, strict=True) if asked]
    words = zip(table["symbol"], is_candidate, table.geometry, strict=True)
    rows = pd.DataFrame(
        {
            "id": table["id"].to_numpy(),
            "symbol": table["symbol"].to_numpy(),
            "kind": np.where(is_candidate, "candidate", "doubtful"),
            "look_at": [_asked(f"{symbols.name_of(number)} ({number})", yet, shape) for number, yet, shape in words],
            "why": table["evidence"].fillna("").to_numpy(),
            "confidence": table["confidence"].to_numpy(np.float64),
            "chance": chance,
            "matters": [one.matters for one in look],
            "minutes": [one.minutes for one in look],
        }
    )
    return question_table(rows, [place_on(shape) for shape in table.geometry], crs=table.crs)


def _asked(name: str, is_candidate: bool, shape: BaseGeometry) -> str:
    """The question in words."""
    if is_candidate:
        return f"{name} is not drawn: is it there?"
    if shape.geom_type in ("Polygon", "MultiPolygon"):
        return f"{name} is drawn here: is it so?"
    return f"{name} is drawn: is it there?"


def place_on(shape: BaseGeometry, /) -> BaseGeometry:
    """Where to look at a feature: the middle of a line, a point within an area."""
    if shape.geom_type == "LineString":
        return shape.interpolate(0.5, normalized=True)
    return shapely.point_on_surface(shape) if shape.geom_type != "Point" else shape


def _of_unseen(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """One question for each square of ground not seen."""
    found: list[tuple[str, str, float, BaseGeometry]] = []
    for row in table.itertuples():
        pieces = _squares(row.geometry)
        found += [
            (f"{row.id}-{number}" if number else row.id, row.evidence or "", 1 - row.confidence, piece)
            for number, piece in enumerate(pieces)
        ]
    look = looks()[NOT_SEEN]
    rows = pd.DataFrame(
        {
            "id": [one[0] for one in found],
            "symbol": NOT_SEEN,
            "kind": "not_seen",
            "look_at": "The survey did not see the ground here: what is there?",
            "why": [f"{one[1]}; {one[3].area:.0f} m2" for one in found],
            "confidence": [1 - one[2] for one in found],
            "chance": [one[2] for one in found],
            "matters": look.matters,
            "minutes": look.minutes,
        }
    )
    return question_table(rows, [place_on(one[3]) for one in found], crs=table.crs)


def _squares(shape: BaseGeometry) -> list[BaseGeometry]:
    """The parts of an area in squares of fixed places, those large enough to ask for."""
    west, south, east, north = (int(np.floor(bound / NOT_SEEN_SIDE_M)) for bound in shape.bounds)
    side = NOT_SEEN_SIDE_M
    boxes = [
        shapely.box(col * side, row * side, (col + 1) * side, (row + 1) * side)
        for row in range(south, north + 1)
        for col in range(west, east + 1)
    ]
    parts = shapely.intersection(np.array(boxes, object), shape)
    return [part for part in parts if part.area >= LEAST_NOT_SEEN_M2]
