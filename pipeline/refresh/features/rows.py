"""Feature by feature: unchanged, moved, reclassified, gone or new, and from which figures."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.features import WAYS
from pipeline.refresh.compare.by_map import FROM
from pipeline.refresh.compare.evidence import Figures, figures_of, in_words
from pipeline.refresh.compare.survey import Measured
from pipeline.refresh.features.matching import GREENS, OPEN, Matches, kind_of, match

CHANGED, BETTER, HIDDEN = "changed on the ground", "seen better now", "not visible to lidar"
COLUMNS = (
    "change",
    "was_symbol",
    "moved_m",
    "cause",
    "sure",
    *Figures.NAMES,
)
"""What `changes.gpkg` has beyond the columns of a draft; `density_change` and its error are among the figures."""
GROUND_KINDS = ("dug", "filled", "track", "built", "building gone")
FITTING = {
    "1": GROUND_KINDS,
    "2": (*GROUND_KINDS, "boulder gone", "boulder new"),
    "3": ("dug", "filled", "track", "built"),
    "4": ("felled", "grown", "thicker", "thinner", "dug", "filled", "track", "built", "building gone"),
    "5": ("track", "built", "building gone", "dug", "filled"),
}
"""Section of the norm (first digit of a symbol) -> kinds of patches that may change its features. The height of a
boulder is no business of the undergrowth."""
FITTING_BY_MAP = {
    **dict.fromkeys(("521", "522", "523"), ("built", "building gone")),
    **dict.fromkeys(WAYS, ("track",)),
}
"""Symbols -> kinds of patches where there is no earlier survey: a patch changes only what it was told from. Areas and
trees of the vegetation besides, by trees felled or grown up."""
RIDES = ("508",)
COVERED_RATIO = 0.5
"""A line or area that lies in a patch by so large a share is of that patch. Our choice."""
POINT_REACH_M = 2.0
"""A point so near to a patch lies in it, in metres. Our choice."""
LEAST_PIECE_M2, LEAST_PIECE_M = 60.0, 5.0
"""Smaller pieces of areas and lines that a patch cuts off are no rows of their own. Our choice."""
LEAST_MOVE_M = 3.0
"""A feature has moved if it lies farther than this from where it was: what a runner can tell. Our choice."""
SEEN_WITHIN_M, LEAST_SEEN_RATIO = 1.5, 0.5
"""A survey sees a spot well where ground returns are nearer than this. Our choice."""
CONTOURS = ("101", "102", "103")
LEAST_CONTOUR_MOVE_M, SAME_CONTOUR_M, CONTOUR_REACH_M = 1.0, 1.0, 30.0
"""A contour moved where it lies farther than this from the old one, in metres (0.1 mm at 1:10000); elevations that
differ by less than this are one, as two surveys differ in height; and one that lies farther off is another. Our choice.
"""


def feature_changes(
    old: gpd.GeoDataFrame,
    new: gpd.GeoDataFrame,
    patches: gpd.GeoDataFrame,
    measured: Measured | None,
    /,
    *,
    shift_error_m: float,
    by_map: bool = False,
) -> gpd.GeoDataFrame:
    """What became of every feature of both maps.

    Only a patch that was measured on its spot makes a feature changed; whatever else differs between the maps is
    unchanged ground, seen better now or not seen.

    Parameters
    ----------
    old, new : features in the frame of the new survey with the columns of the draft and `layer`
    patches : of `pipeline.refresh.compare.patches.find_patches`
    measured : the rasters of difference, or None where only the old map is at hand
    by_map : whether the patches were told from the map and the new survey alone

    Returns
    -------
    GeoDataFrame with the columns of the new features and `COLUMNS`
    """
    old, new = old.reset_index(drop=True), new.reset_index(drop=True)
    pairs = match(old, new, shift_error_m=shift_error_m)
    maker = _Rows(old, new, pairs, patches, measured, by_map=by_map)
    rows = [row for number in range(len(new)) for row in maker.of_new(number)]
    rows += [row for number in np.flatnonzero(pairs.new_of_old < 0) for row in maker.of_old(int(number))]
    columns = [*new.columns.drop("geometry"), *COLUMNS, "geometry"]
    table = pd.DataFrame(rows, columns=columns) if rows else pd.DataFrame(columns=columns)
    return gpd.GeoDataFrame(table, geometry="geometry", crs=new.crs)


class _Rows:
    """Makes the rows of single features; holds what they all look things up in."""

    def __init__(
        self,
        old: gpd.GeoDataFrame,
        new: gpd.GeoDataFrame,
        pairs: Matches,
        patches: gpd.GeoDataFrame,
        measured: Measured | None,
        *,
        by_map: bool,
    ) -> None:
        self.by_map = by_map
        self.old, self.new, self.pairs, self.measured = old, new, pairs, measured
        self.patches, self.tree = patches, shapely.STRtree(patches.geometry.to_numpy())
        self.old_areas = _areas_by_kind(old)
        self.new_areas = _areas_by_kind(new)
        contours = old[old["symbol"].astype(str).isin(CONTOURS)]
        self.old_contours = list(zip(contours["elevation_m"].to_numpy(np.float64), contours.geometry, strict=True))

    # -------------------------------------------------------- features of the new map

    def of_new(self, number: int) -> list[dict[str, object]]:
        """The rows of a feature of the new map: what stayed of it, and the pieces that changed."""
        feature = self.new.iloc[number]
        symbol, shape = str(feature["symbol"]), feature.geometry
        twin = int(self.pairs.old_of_new[number])
        near = self._patches_at(shape, symbol)
        if not near.empty and (shape.area or symbol in CONTOURS):
            return self._pieces(feature, near)
        if twin >= 0:
            return [self._paired(feature, twin, float(self.pairs.apart_m[number]), near)]
        is_new = self._lies_in(shape, near)
        return [self._row(feature, "new" if is_new else "unchanged", CHANGED if is_new else BETTER, near)]

    def _paired(self, feature: pd.Series, twin: int, apart_m: float, near: gpd.GeoDataFrame) -> dict[str, object]:
        was, symbol = str(self.old.iloc[twin]["symbol"]), str(feature["symbol"])
        touched = self._lies_in(feature.geometry, near)
        moved_m = apart_m if shapely.get_dimensions(feature.geometry) < 2 else 0.0
        if touched and was != symbol:
            return self._row(feature, "reclassified", CHANGED, near, was=was, moved_m=moved_m)
        if touched and moved_m > LEAST_MOVE_M:
            return self._row(feature, "moved", CHANGED, near, was=was, moved_m=moved_m)
        cause = BETTER if was != symbol or moved_m > LEAST_MOVE_M else ""
        return self._row(feature, "unchanged", cause, near, was=was, moved_m=moved_m)

    def _pieces(self, feature: pd.Series, near: gpd.GeoDataFrame) -> list[dict[str, object]]:
        """An area or a contour cut at the patches: each changed piece, and what stayed."""
        shape, symbol = feature.geometry, str(feature["symbol"])
        rows, changed = [], []
        for part in _parts(shape.intersection(near.geometry.union_all()), shape):
            was = self._was(part, symbol)
            moved_m = 0.0 if shape.area else self._away_m(part, float(feature["elevation_m"]))
            if was == symbol and moved_m < LEAST_CONTOUR_MOVE_M:
                continue
            if not np.isfinite(moved_m):
                was, moved_m = "", 0.0
            change = "new" if not was else "moved" if was == symbol else "reclassified"
            rows.append(self._row(feature, change, CHANGED, near, was=was, moved_m=moved_m, shape=part))
            changed.append(part)
        if not rows:
            return [self._row(feature, "unchanged", "", near)]
        rest = shape.difference(shapely.union_all(changed).buffer(0.01))
        stayed = [self._row(feature, "unchanged", "", near.iloc[:0], shape=part) for part in _parts(rest, shape)]
        return stayed + rows

    def _away_m(self, part: BaseGeometry, elevation_m: float) -> float:
        """How far a piece of a contour lies from the old one of its elevation, on average; infinite where none is."""
        near = [line for height_m, line in self.old_contours if abs(height_m - elevation_m) < SAME_CONTOUR_M]
        if not near:
            return float("inf")
        lines = shapely.union_all(near)
        places = shapely.line_interpolate_point(np.array([part]), np.linspace(0, 1, 20), normalized=True)
        away_m = float(shapely.distance(places, lines).mean())
        return away_m if away_m < CONTOUR_REACH_M else float("inf")

    def _was(self, part: BaseGeometry, symbol: str) -> str:
        """The symbol that covered most of a piece before; a contour was a contour; empty for white forest."""
        if symbol in CONTOURS:
            return symbol
        return _covering(part, self.old_areas.get(_field_of(symbol), []))

    # -------------------------------------------------------- features of the old map alone

    def of_old(self, number: int) -> list[dict[str, object]]:
        """The rows of a feature that the new map does not have."""
        feature = self.old.iloc[number]
        symbol, shape = str(feature["symbol"]), feature.geometry
        near = self._patches_at(shape, symbol)
        if not near.empty and symbol in CONTOURS:
            return [self._row(feature, "unchanged", BETTER, near, was=symbol)]
        if not near.empty and shape.area:
            return self._gone_pieces(feature, near)
        is_gone = self._lies_in(shape, near)
        change, cause = ("gone", CHANGED) if is_gone else ("unchanged", self._why_unseen(shape))
        return [self._row(feature, change, cause, near, was=symbol)]

    def _gone_pieces(self, feature: pd.Series, near: gpd.GeoDataFrame) -> list[dict[str, object]]:
        """What of an old area lies in patches and has no area of the new map over it, which tells of it already."""
        shape, symbol = feature.geometry, str(feature["symbol"])
        over = [area for _, area in self.new_areas.get(_field_of(symbol), []) if area.intersects(shape)]
        bare = shape.intersection(near.geometry.union_all()).difference(shapely.union_all(over))
        gone = [self._row(feature, "gone", CHANGED, near, was=symbol, shape=part) for part in _parts(bare, shape)]
        return gone or [self._row(feature, "unchanged", BETTER, near, was=symbol)]

    def _why_unseen(self, shape: BaseGeometry) -> str:
        """Why an old feature is missing on ground that did not change."""
        if self.measured is None:
            return HIDDEN
        figures = figures_of(shape, self.measured)
        is_seen = figures.support_m <= SEEN_WITHIN_M and figures.seen_ratio >= LEAST_SEEN_RATIO
        return BETTER if is_seen else HIDDEN

    # -------------------------------------------------------- patches

    def _patches_at(self, shape: BaseGeometry, symbol: str) -> gpd.GeoDataFrame:
        """The patches on the spot of a feature that may change its kind."""
        if not len(self.patches):
            return self.patches
        fitting = _fitting(symbol, by_map=self.by_map)
        at = self.patches.iloc[np.sort(self.tree.query(shape, predicate="dwithin", distance=POINT_REACH_M))]
        return at[at["kind"].isin(fitting)]

    def _lies_in(self, shape: BaseGeometry, near: gpd.GeoDataFrame) -> bool:
        """Whether a feature lies in patches by enough of itself."""
        if near.empty:
            return False
        if shapely.get_dimensions(shape) == 0:
            return True
        cover = near.geometry.union_all().buffer(1.0)
        size = shape.area or shape.length
        inside = shape.intersection(cover)
        return bool((inside.area or inside.length) >= COVERED_RATIO * size)

    # -------------------------------------------------------- one row

    def _row(
        self,
        feature: pd.Series,
        change: str,
        cause: str,
        near: gpd.GeoDataFrame,
        *,
        was: str = "",
        moved_m: float = 0.0,
        shape: BaseGeometry | None = None,
    ) -> dict[str, object]:
        place = feature.geometry if shape is None else shape
        figures = Figures() if self.measured is None else figures_of(place, self.measured)
        words = in_words(figures) if self.measured is not None else FROM
        is_changed = change != "unchanged"
        told = "; ".join(dict.fromkeys(map(str, near["kind"]))) if is_changed else ""
        sure = float(near["sure"].max()) if is_changed else self._sure_unchanged(figures)
        return {
            **{str(key): value for key, value in feature.items() if key != "geometry"},
            "evidence": "; ".join(part for part in (str(feature["evidence"]), told, words) if part),
            "change": change,
            "was_symbol": was,
            "moved_m": round(moved_m, 2),
            "cause": cause,
            "sure": round(sure, 3),
            **figures.columns,
            "geometry": place,
        }

    def _sure_unchanged(self, figures: Figures) -> float:
        """How sure it is that nothing changed: half where nobody saw it, nearly all where both surveys see it well."""
        if self.measured is None:
            return 0.5
        is_seen = np.isfinite(figures.support_m) and figures.support_m <= SEEN_WITHIN_M
        return 0.5 + 0.45 * figures.seen_ratio * (1.0 if is_seen else 0.5)


def _fitting(symbol: str, *, by_map: bool) -> tuple[str, ...]:
    """The kinds of patches that may change a feature."""
    if by_map:
        return ("felled", "grown") if symbol[:1] == "4" else FITTING_BY_MAP.get(symbol.partition(".")[0], ())
    return (*FITTING["5"], "felled", "thinner") if symbol.startswith(RIDES) else FITTING.get(symbol[:1], ())


def _parts(shape: BaseGeometry, whole: BaseGeometry) -> list[BaseGeometry]:
    """The pieces that are large enough for rows; of the kind of the whole."""
    dimension = shapely.get_dimensions(whole)
    parts = [part for part in shapely.get_parts(shape) if shapely.get_dimensions(part) == dimension]
    if dimension == 1 and len(parts) > 1:
        parts = list(shapely.get_parts(shapely.line_merge(shapely.union_all(parts))))
    least = min(LEAST_PIECE_M2, 0.5 * whole.area) if dimension == 2 else min(LEAST_PIECE_M, 0.5 * whole.length)
    return [part for part in parts if (part.area if dimension == 2 else part.length) >= least]


def _areas_by_kind(features: gpd.GeoDataFrame) -> dict[str, list[tuple[str, BaseGeometry]]]:
    """Areas of a map with their symbols, by what they compete with for a spot."""
    found: dict[str, list[tuple[str, BaseGeometry]]] = {}
    for symbol, shape in zip(features["symbol"].astype(str), features.geometry, strict=True):
        if shapely.get_dimensions(shape) == 2:
            found.setdefault(_field_of(symbol), []).append((symbol, shape))
    return found


def _field_of(symbol: str) -> str:
    """Greens and open land share the ground among them; other areas stand for themselves."""
    main = symbol.partition(".")[0]
    return "vegetation" if main in GREENS or main in OPEN else kind_of(symbol)


def _covering(part: BaseGeometry, areas: Sequence[tuple[str, BaseGeometry]]) -> str:
    """The symbol of the area that has most of a piece, if any has half of it."""
    best, symbol = COVERED_RATIO * part.area, ""
    for name, area in areas:
        shared = area.intersection(part).area if area.intersects(part) else 0.0
        if shared > best:
            best, symbol = shared, name
    return symbol


def moved(features: gpd.GeoDataFrame, east_m: float, north_m: float, up_m: float, /) -> gpd.GeoDataFrame:
    """Features of the old survey in the frame of the new one; their elevations too."""
    step = np.array([east_m, north_m])
    shapes = shapely.transform(shapely.force_2d(features.geometry.to_numpy()), lambda places: places + step)
    found = features.set_geometry(gpd.GeoSeries(shapes, index=features.index, crs=features.crs))
    if "elevation_m" in found:
        found["elevation_m"] = found["elevation_m"] + up_m
    return found
