"""Borrowed features beside those that lidar shows: moved to them, taken for them, or kept apart and listed."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from pipeline.borrowed.families import families_of
from pipeline.borrowed.merging import merge_pieces
from pipeline.borrowed.snapping import REACH_M, snap_lines
from pipeline.features import join_features
from pipeline.lattice.grid import Mask

SAME_LINE_M = 3.0
"""Distance from a borrowed line, after its move, within which a found line is that line: the width of a track. Our
choice."""
PIECE_M = 5.0
"""Length in metres of the pieces of a line that lie near another one or do not. Our choice."""
SAME_LINE_RATIO = 0.6
"""Share of a found line's length within that distance from which it is the borrowed one. Our choice."""
SHOWN_RATIO = 0.5
"""Share of a borrowed line's length along which lidar must show it, or else the two disagree. Our choice."""
WORTH_ASKING_M = 50.0
"""Length in metres of the shortest borrowed line that lidar not showing it is worth a look. Our choice."""
BESIDE_M = 25.0
"""Distance in metres up to which a found line beside a borrowed one that lidar does not show may be the same thing,
mapped wrongly. Our choice."""
SAME_AREA_RATIO = 0.3
"""Overlap of two buildings or waters, as a share of both together, from which they are one: roofs overhang, and
outlines are shifted. Our choice."""
SHOWN_CONFIDENCE, SILENT_CONFIDENCE = 0.9, 0.6
"""How likely a mapper would draw a borrowed feature that lidar shows as well, and one that it does not show. Our
choice, not measured."""
EXPECTED_IN_LIDAR = ("way", "watercourse", "building", "water body")
"""Families whose absence from the lidar is worth a look; wires and fences are often missed by it."""
TELLS = ("502", "503", "504", "521", "301", "304")
"""Symbols that are large enough for lidar to show them nearly everywhere."""


@dataclass(frozen=True)
class Settled:
    """What became of both.

    Attributes
    ----------
    features : all that is drawn, with `origin` and `status`
    replaced : found features that the borrowed ones stand for
    disagreements : points with `look_at`, `why`, for the check list
    """

    features: gpd.GeoDataFrame
    replaced: gpd.GeoDataFrame
    disagreements: gpd.GeoDataFrame


def settle(found: gpd.GeoDataFrame, borrowed: gpd.GeoDataFrame, /) -> Settled:
    """The found features and the borrowed ones as one set.

    Parameters
    ----------
    found : features of lidar, with `origin` and `status`
    borrowed : of `matching.match_features`, clipped to the area
    """
    crs = str(found.crs)
    if borrowed.empty:
        return Settled(found, found.iloc[:0], _no_questions(crs))
    lines = _settle_lines(found, merge_pieces(borrowed))
    areas = _settle_areas(lines.features, lines.borrowed)
    placed = areas.borrowed.assign(status="imported")
    asked = pd.concat([lines.asked, areas.asked], ignore_index=True)
    return Settled(
        join_features([areas.features, placed], crs),
        lines.replaced,
        gpd.GeoDataFrame(asked, geometry="geometry", crs=crs),
    )


@dataclass(frozen=True)
class _Step:
    """Found and borrowed features after one step, with what it replaced and what it asks."""

    features: gpd.GeoDataFrame
    borrowed: gpd.GeoDataFrame
    replaced: gpd.GeoDataFrame
    asked: gpd.GeoDataFrame


def _settle_lines(found: gpd.GeoDataFrame, borrowed: gpd.GeoDataFrame) -> _Step:
    """Borrowed lines moved to found ones of their family; found lines that they now stand for go."""
    borrowed = borrowed.reset_index(drop=True)
    is_line, found_line = _has_dimension(borrowed, 1), _has_dimension(found, 1)
    family, found_family = families_of(borrowed), families_of(found)
    gone = np.zeros(len(found), np.bool_)
    asked = [_no_questions(str(found.crs))]
    for name in sorted(set(family[is_line]) - {""}):
        rows = np.flatnonzero(is_line & (family == name))
        others = np.flatnonzero(found_line & (found_family == name))
        snapped = snap_lines(borrowed.geometry.to_numpy()[rows], found.geometry.to_numpy()[others])
        borrowed.loc[rows, "geometry"] = gpd.GeoSeries(snapped.lines, index=rows, crs=borrowed.crs)
        is_shown = snapped.shown_ratio >= SHOWN_RATIO
        borrowed.loc[rows, "confidence"] = np.where(is_shown, SHOWN_CONFIDENCE, SILENT_CONFIDENCE)
        borrowed.loc[rows, "evidence"] = [
            text + _told(ratio, moved)
            for text, ratio, moved in zip(
                borrowed["evidence"].to_numpy()[rows], snapped.shown_ratio, snapped.moved_m, strict=True
            )
        ]
        gone[others] = _run_along(found.geometry.to_numpy()[others], snapped.lines[is_shown])
        asked.append(_line_questions(borrowed.iloc[rows], found.iloc[others[~gone[others]]], is_shown, name))
    return _Step(found[~gone], borrowed, found[gone], _join_questions(asked, str(found.crs)))


def _told(shown_ratio: float, moved_m: float) -> str:
    if shown_ratio == 0:
        return "; lidar does not show it"
    return f"; lidar shows {shown_ratio:.0%} of it, {moved_m:.1f} m beside the other map's line"


def _run_along(lines: NDArray[np.object_], drawn: NDArray[np.object_]) -> Mask:
    """(n,) bool: lines of which most lies within `SAME_LINE_M` of those drawn."""
    return _within_m(lines, drawn, SAME_LINE_M) >= SAME_LINE_RATIO * np.maximum(shapely.length(lines), 1e-9)


def _within_m(lines: NDArray[np.object_], others: NDArray[np.object_], reach_m: float) -> NDArray[np.float64]:
    """(n,) metres of each line that lie within a distance of any of the others, looked at every `PIECE_M`."""
    if not len(lines) or not len(others):
        return np.zeros(len(lines))
    places, line_of = shapely.get_coordinates(shapely.segmentize(lines, PIECE_M), return_index=True)
    is_piece = line_of[1:] == line_of[:-1]
    middle = ((places[1:] + places[:-1]) / 2)[is_piece]
    length_m = np.hypot(*np.diff(places, axis=0)[is_piece].T)
    near = shapely.STRtree(others).query(shapely.points(middle), predicate="dwithin", distance=reach_m)[0]
    is_near = np.bincount(near, minlength=len(middle)) > 0
    weights = np.where(is_near, length_m, 0.0)
    within_m: NDArray[np.float64] = np.zeros(len(lines))
    np.add.at(within_m, line_of[1:][is_piece], weights)
    return within_m


def _line_questions(
    borrowed: gpd.GeoDataFrame, others: gpd.GeoDataFrame, is_shown: Mask, family: str
) -> gpd.GeoDataFrame:
    """What is to be looked at: large things that lidar does not show, and lines that may be one thing twice."""
    if family not in EXPECTED_IN_LIDAR:
        return _no_questions(str(borrowed.crs))
    doubtful = borrowed[~is_shown & (borrowed.length.to_numpy() >= WORTH_ASKING_M)]
    lines, middles = doubtful.geometry.to_numpy(), doubtful.geometry.interpolate(0.5, normalized=True).to_numpy()
    beside = others.geometry.to_numpy()
    beside = beside[_within_m(beside, lines, BESIDE_M) >= SAME_LINE_RATIO * shapely.length(beside)]
    gap_m = np.full(len(lines), np.inf)
    if len(beside) and len(lines):
        nearest, distance_m = shapely.STRtree(beside).query_nearest(
            middles, max_distance=BESIDE_M, return_distance=True, all_matches=False
        )
        gap_m[nearest[0]] = distance_m
    rows = []
    for symbol, origin, middle, m in zip(doubtful["symbol"], doubtful["origin"], middles, gap_m, strict=True):
        if np.isfinite(m):
            why = f"lidar shows one {m:.0f} m beside it, which may be the same"
        elif symbol.partition(".")[0] in TELLS:
            why = f"lidar shows none within {REACH_M:.0f} m"
        else:
            continue
        rows.append((f"{family} {symbol} of {origin}: is it here?", why, middle))
    return _questions(rows, str(borrowed.crs))


def _settle_areas(found: gpd.GeoDataFrame, borrowed: gpd.GeoDataFrame) -> _Step:
    """Of a building or water on both, what lidar shows stays; vegetation of lidar gives way to borrowed areas."""
    borrowed = borrowed.reset_index(drop=True)
    crs = str(found.crs)
    is_area, found_area = _has_dimension(borrowed, 2), _has_dimension(found, 2)
    family, found_family = families_of(borrowed), families_of(found)
    taken = np.zeros(len(borrowed), np.bool_)
    asked = []
    found = found.reset_index(drop=True)
    for name in sorted(set(family[is_area]) - {""}):
        rows = np.flatnonzero(is_area & (family == name))
        others = np.flatnonzero(found_area & (found_family == name))
        pairs = _overlaps(borrowed.geometry.to_numpy()[rows], found.geometry.to_numpy()[others])
        taken[rows[pairs[:, 0]]] = True
        also = borrowed["origin"].to_numpy(str)[rows[pairs[:, 0]]]
        found.loc[others[pairs[:, 1]], "evidence"] += [f"; also on {text}" for text in also]
        missing = borrowed.iloc[rows[~taken[rows]]]
        asked += [
            (f"{name} {symbol} of {origin}: is it here?", "lidar shows none there", area.representative_point())
            for symbol, area, origin in zip(missing["symbol"], missing.geometry, missing["origin"], strict=True)
            if name in EXPECTED_IN_LIDAR and symbol in TELLS
        ]
    silent = is_area & (family != "") & ~taken
    borrowed.loc[silent, "confidence"] = SILENT_CONFIDENCE
    borrowed.loc[silent, "evidence"] += "; lidar does not show it"
    kept = borrowed[~taken]
    return _Step(_cut_vegetation(found, kept), kept, found.iloc[:0], _questions(asked, crs))


def _overlaps(areas: NDArray[np.object_], others: NDArray[np.object_]) -> NDArray[np.intp]:
    """(k, 2) an area and the other one that it shares enough with; each of the others at most once."""
    pairs: dict[int, int] = {}
    if len(others):
        tree = shapely.STRtree(others)
        for i, j in tree.query(areas, predicate="intersects").T.tolist():
            shared_m2 = areas[i].intersection(others[j]).area
            if shared_m2 >= SAME_AREA_RATIO * (areas[i].area + others[j].area - shared_m2):
                pairs.setdefault(j, i)
    return np.array([(i, j) for j, i in pairs.items()], np.intp).reshape(-1, 2)


def _cut_vegetation(found: gpd.GeoDataFrame, borrowed: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The found features without vegetation under borrowed fields, orchards and the like: such areas never overlap."""
    is_field = _has_dimension(borrowed, 2) & _is_green(borrowed)
    is_green = _has_dimension(found, 2) & _is_green(found)
    if not is_field.any() or not is_green.any():
        return found
    cover = shapely.union_all(borrowed.geometry.to_numpy()[is_field])
    cut = found[is_green].copy()
    cut.geometry = shapely.difference(cut.geometry.to_numpy(), cover)
    cut = cut[~cut.geometry.is_empty].explode(ignore_index=True)
    return join_features([found[~is_green], cut[cut.geom_type == "Polygon"]], str(found.crs))


def _has_dimension(features: gpd.GeoDataFrame, dimension: int) -> Mask:
    has: Mask = shapely.get_dimensions(features.geometry.to_numpy()) == dimension
    return has


def _questions(rows: list[tuple[str, str, shapely.Point]], crs: str) -> gpd.GeoDataFrame:
    """Places to look at."""
    look_at, why, places = zip(*rows, strict=True) if rows else ((), (), ())
    table = {"look_at": np.array(look_at, object), "why": np.array(why, object)}
    return gpd.GeoDataFrame(table, geometry=list(places), crs=crs)


def _no_questions(crs: str) -> gpd.GeoDataFrame:
    return _questions([], crs)


def _join_questions(tables: list[gpd.GeoDataFrame], crs: str) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), geometry="geometry", crs=crs)


def _is_green(features: gpd.GeoDataFrame) -> Mask:
    """(n,) bool: symbols of vegetation."""
    green: Mask = np.char.startswith(features["symbol"].to_numpy(str), "4")
    return green
