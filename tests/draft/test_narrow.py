"""Parts of green narrower than the norm allows are widened, given to what is beside them, or left white."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.draft.narrow import without_narrow_parts
from pipeline.draft.narrow_parts import narrow_parts
from pipeline.features import make_features
from pipeline.norm.symbols import norm_table

CRS = "EPSG:25832"
SYMBOLS = norm_table()
OUTLINE = shapely.box(0, 0, 100, 60)
WIDTH_M = SYMBOLS.smallest("408").width_m
BROAD = shapely.union(shapely.box(10, 20, 30, 40), shapely.box(60, 20, 80, 40))


def features(*drawn: tuple[str, BaseGeometry]) -> gpd.GeoDataFrame:
    """Features of these symbols and shapes, all drawn."""
    symbols, shapes = zip(*drawn, strict=True)
    made = make_features(list(shapes), crs=CRS, symbol=list(symbols), confidence=0.9, evidence="")
    return made.assign(status="drawn")


def narrow_in(found: gpd.GeoDataFrame, symbol: str) -> int:
    """Narrow parts of the areas of a symbol, by the least width of the norm less what printing allows."""
    shapes = found.geometry[found["symbol"] == symbol].to_numpy()
    return len(narrow_parts(shapes, np.full(len(shapes), 0.95 * SYMBOLS.smallest(symbol).width_m)).shapes)


def test_a_neck_of_some_width_is_drawn_wider_at_the_cost_of_its_neighbour() -> None:
    """Two broad parts stay one area, and the edges beside them are still shared."""
    walk = shapely.union(BROAD, shapely.box(30, 28.5, 60, 31.5))
    slow = shapely.difference(OUTLINE, walk)
    given = features(("408", walk), ("406", slow))
    assert narrow_in(given, "408") == 1
    found, gone = without_narrow_parts(given, SYMBOLS, outline=OUTLINE)
    assert narrow_in(found, "408") == 0
    assert sorted(found["symbol"]) == ["406", "408"]
    assert abs(found.geometry.area.sum() - OUTLINE.area) < 1e-6
    assert shapely.coverage_is_valid(found.geometry.to_numpy())
    assert len(gone) == 0


def test_a_thread_is_cut_and_goes_to_what_is_beside_it() -> None:
    """A thread of walk between two broad parts becomes the slow forest that it runs through."""
    walk = shapely.union(BROAD, shapely.box(30, 29.9, 60, 30.1))
    slow = shapely.difference(OUTLINE, walk)
    found, _ = without_narrow_parts(features(("408", walk), ("406", slow)), SYMBOLS, outline=OUTLINE)
    assert narrow_in(found, "408") == 0
    assert (found["symbol"] == "408").sum() == 2
    assert abs(found.geometry.area.sum() - OUTLINE.area) < 1e-6


def test_an_area_nowhere_broad_becomes_white_in_white_forest() -> None:
    """And the list of what was left out has it."""
    found, gone = without_narrow_parts(features(("408", shapely.box(10, 10, 60, 12))), SYMBOLS, outline=OUTLINE)
    assert len(found) == 0
    assert gone["what"].tolist() == ["merged"]


def test_tips_broad_areas_and_what_is_only_proposed_stay() -> None:
    """The same table comes back where nothing is too narrow."""
    tipped = shapely.union(shapely.box(10, 20, 30, 40), shapely.box(30, 28, 30 + 2 * WIDTH_M, 31))
    given = features(("408", tipped), ("407", shapely.box(10, 50, 90, 52)), ("408", shapely.box(50, 10, 90, 12)))
    given.loc[2, "status"] = "candidate"
    found, gone = without_narrow_parts(given, SYMBOLS, outline=OUTLINE)
    assert found is given
    assert len(gone) == 0
