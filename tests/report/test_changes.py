"""What changed, as data for the page."""

import geopandas as gpd
import pandas as pd
from shapely.geometry import box

from pipeline.norm.symbols import norm_table
from pipeline.report.changes import before_of, changes_of
from tests.exports.made_draft import CRS, EAST, NORTH
from tests.report import made_page


def test_patches_and_places_come_onto_the_map() -> None:
    """Each ring of a patch by itself, holes too; a row of the list where it lies; nothing where nothing changed."""
    hollow = box(EAST + 10, NORTH + 10, EAST + 60, NORTH + 60) - box(EAST + 20, NORTH + 20, EAST + 30, NORTH + 30)
    patches = gpd.GeoDataFrame({"kind": ["felled"]}, geometry=[hollow], crs=CRS)
    row = {"rank": 1, "name": "C001", "change": "felled", "look_at": "?", "why": "", "sure": 0.9}
    places = pd.DataFrame([row | {"east_m": EAST + 15.0, "north_m": NORTH + 15.0}])
    told = changes_of(patches, places, made_page.place())
    assert len(told["rings"]) == 2
    x, y = made_page.place().on_map(places[["east_m", "north_m"]].to_numpy())[0]
    assert abs(told["places"][0]["x"] - x) < 0.1
    assert abs(told["places"][0]["y"] - y) < 0.1
    nothing = changes_of(patches[:0], places[:0], made_page.place())
    assert nothing == {"places": [], "rings": [], "told": []}


def test_features_of_unknown_numbers_are_left_out_of_the_map_of_before() -> None:
    """An earlier map may hold numbers of its own, and nothing says how they are drawn."""
    layer = next(layer for layer in made_page.hostile_layers().values() if len(layer))
    known = before_of(layer, made_page.place(), norm_table())
    other = layer.assign(symbol="999.9")
    assert len(known["id"]) == len(layer)
    assert before_of(other, made_page.place(), norm_table())["id"] == []
