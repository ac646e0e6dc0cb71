"""Which features are drawn on the map, and which are only proposed."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon

from pipeline.lattice.grid import Mask

DRAFT, CANDIDATE = "draft", "candidate"
"""Values of `status`: drawn, and proposed only. A sheet prints no candidates."""
MAPPER_DECIDES = ("213", "501", "526", "530", "531")
"""Sandy ground, paved areas, cairns and prominent man-made features: lidar alone never says that it is one of them, so
that they are candidates however sure their shape is."""
NOT_SEEN = "600.1"
"""Ground the survey did not see well enough to say how it runs; our own number, beside the sheet edge."""
ALWAYS_DRAWN = ("101", "101.1", "102", "600", NOT_SEEN, "601")
"""Contours with their slope lines, ground not seen, north lines and the sheet edge. A contour in doubt is drawn where
the ground most likely has that height: a gap in it would say something that is surely wrong, and 600.1 says where it is
in doubt."""
EDGE_M = 10.0
"""A candidate this near to the edge of what the survey saw is one whose surroundings are not known: a shape is compared
with the ground of about its own width around. Our choice."""


@dataclass(frozen=True)
class Limits:
    """From where a feature is drawn.

    Attributes
    ----------
    drawn_from : least confidence of what is drawn
    by_symbol : the same for single symbols; a symbol such as 508.2 without an own value has that of 508
    never : symbols of kinds that the survey cannot show, which are not drawn however sure
    """

    drawn_from: float = 0.5
    by_symbol: Mapping[str, float] = field(default_factory=dict)
    never: Collection[str] = ()

    def least(self, symbol: str, /) -> float:
        """Least confidence with which a symbol is drawn."""
        main = symbol.partition(".")[0]
        return self.by_symbol.get(symbol, self.by_symbol.get(main, self.drawn_from))

    def cannot_show(self, symbol: str, /) -> bool:
        """Whether the survey cannot show the kind of a symbol."""
        return symbol in self.never or symbol.partition(".")[0] in self.never


def with_status(
    features: gpd.GeoDataFrame, limits: Limits, /, *, seen: Polygon | MultiPolygon, decimals: int
) -> gpd.GeoDataFrame:
    """The features with `status`, and with what makes a candidate doubtful in its evidence.

    Parameters
    ----------
    seen : what the survey covers, which may reach beyond the area
    decimals : to which the draft gives confidences; what is printed as the least confidence has it
    """
    symbol = features["symbol"].to_numpy(str)
    least = np.array([limits.least(number) for number in symbol], np.float64)
    impossible = np.array([limits.cannot_show(number) for number in symbol], np.bool_)
    is_sure = np.round(features["confidence"].to_numpy(np.float64), decimals) >= least
    is_drawn = (is_sure & ~np.isin(symbol, MAPPER_DECIDES) | np.isin(symbol, ALWAYS_DRAWN)) & ~impossible
    marked = features.assign(status=np.where(is_drawn, DRAFT, CANDIDATE))
    return _with_doubts(marked, impossible & ~is_drawn, seen)


def is_candidate(features: gpd.GeoDataFrame, /) -> Mask:
    """(n,) bool: what is proposed only; nothing is without a `status`."""
    if "status" not in features:
        return np.zeros(len(features), np.bool_)
    return np.asarray(features["status"].to_numpy(str) == CANDIDATE)


def _with_doubts(features: gpd.GeoDataFrame, impossible: Mask, seen: Polygon | MultiPolygon) -> gpd.GeoDataFrame:
    """The features, candidates with what speaks against them beside their own evidence."""
    proposed = is_candidate(features)
    geometry = features.geometry.to_numpy()
    at_edge, unseen = proposed.copy(), proposed.copy()
    at_edge[proposed] = shapely.dwithin(geometry[proposed], seen.boundary, EDGE_M)
    ground = geometry[features["symbol"].to_numpy(str) == NOT_SEEN]
    hits = shapely.STRtree(ground).query(geometry[proposed], predicate="intersects")[0]
    unseen[proposed] = np.isin(np.arange(int(proposed.sum())), hits)
    texts = features["evidence"].to_list()
    for row in np.flatnonzero(proposed):
        doubts = [
            "; this survey cannot show such a feature" if impossible[row] else "",
            "; at the edge of the survey" if at_edge[row] else "",
            "; on ground hardly seen" if unseen[row] and "on ground hardly seen" not in texts[row] else "",
        ]
        texts[row] += "".join(doubts)
    return features.assign(evidence=texts)
