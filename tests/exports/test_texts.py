"""Exports as text: which features they hold, what they say, and that the same draft gives the same text."""

import json

import pytest
import shapely

from pipeline.exports.degrees import in_degrees
from pipeline.exports.dxf import dxf_text
from pipeline.exports.formats import BACKDROP_SOURCES, FILES
from pipeline.exports.geojson import geojson_text
from pipeline.exports.gpx import LONGEST_NAME, gpx_layers, gpx_text
from pipeline.exports.kml import kml_text
from pipeline.exports.shapefile import COLUMNS, LONGEST_TEXT_BYTES, legend_text, shapefile_tables
from pipeline.settings import Area
from tests.exports.made_draft import CRS, TABLE, TOLD, counts, made_layers


def texts() -> dict[str, str]:
    """The formats that are one text."""
    layers = made_layers()
    return {
        "geojson": geojson_text(layers, told=TOLD),
        "dxf": dxf_text(layers, symbols=TABLE, scale=10000, crs=CRS, told=TOLD),
        "gpx": gpx_text(layers, symbols=TABLE, told=TOLD),
        "kml": kml_text(layers, symbols=TABLE, told=TOLD),
        "legend": legend_text(layers, symbols=TABLE, told=TOLD),
    }


def test_the_same_draft_gives_the_same_text() -> None:
    """No clock, no random identifier: exports can be compared by checksum."""
    assert texts() == texts()


@pytest.mark.parametrize("name", ["geojson", "dxf", "gpx", "kml", "legend"])
def test_cautions_and_credits_travel_along(name: str) -> None:
    """Whoever opens the file can read that it is a draft, and whose data it is."""
    text = texts()[name].replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
    assert "DRAFT, not field-checked, not for navigation or competition." in text
    assert "Invented county <CC0>" in text


def test_geojson_is_what_its_rfc_asks() -> None:
    """Longitude and latitude, outer rings counter-clockwise, holes clockwise (RFC 7946, 3.1.6)."""
    content = json.loads(texts()["geojson"])
    features = content["features"]
    assert content["type"] == "FeatureCollection"
    assert len(features) == sum(counts().values())
    holed = next(f for f in features if f["properties"]["symbol"] == "408")
    outer, inner = (shapely.LinearRing(ring) for ring in holed["geometry"]["coordinates"])
    assert outer.is_ccw
    assert not inner.is_ccw
    west, south, east, north = outer.bounds
    assert 10 < west < east < 11
    assert 47 < south < north < 48
    contour = next(f for f in features if f["properties"]["symbol"] == "102")
    assert contour["properties"]["elevation_m"] == 440.0
    assert contour["properties"]["angle_deg"] is None
    assert contour["properties"]["layer"] == "landform_line"
    assert {f["properties"]["status"] for f in features} == {"draft", "candidate", "rejected", "imported"}


def test_a_clockwise_ring_is_turned_round() -> None:
    """The rule of the rings does not depend on how the draft has them."""
    layers = made_layers()
    table = layers["vegetation_area"]
    layers["vegetation_area"] = table.set_geometry(shapely.reverse(table.geometry.to_numpy()), crs=table.crs)
    assert all(place.exterior.is_ccw for place in in_degrees(layers)["vegetation_area"].geometry)


def test_a_watch_gets_points_and_lines_with_short_names() -> None:
    """No contours, no areas, nothing that was rejected; names that a watch shows, candidates with a question mark."""
    shown = gpx_layers(made_layers())
    assert {name: len(table) for name, table in shown.items() if len(table)} == {
        "landform_line": 1,
        "landform_point": 1,
        "rock_line": 1,
        "rock_point": 2,
        "water_line": 1,
        "manmade_line": 1,
    }
    text = texts()["gpx"]
    names = [part.partition("<")[0] for part in text.split("<name>")[2:]]
    assert max(map(len, names)) <= LONGEST_NAME
    assert names.count("204 Boulder") == names.count("?204 Boulder") == 1


def test_shapefile_columns_are_short_and_the_legend_names_all() -> None:
    """Ten letters a column, 254 bytes a text cut between letters; each column and each symbol is explained."""
    layers = made_layers()
    layers["rock_point"].loc[0, "evidence"] = "ä" * 200
    tables = shapefile_tables(layers)
    for table in tables.values():
        assert max(map(len, table.columns.drop("geometry"))) <= 10
    assert len(tables["rock_point"].loc[0, "evidence"].encode()) == LONGEST_TEXT_BYTES
    assert len({short for short, _ in COLUMNS.values()}) == len(COLUMNS)
    rows = [row.split(",")[:2] for row in texts()["legend"].splitlines()]
    assert {name for what, name in rows if what == "column"} == {short for short, _ in COLUMNS.values()}
    assert {name for what, name in rows if what == "symbol"} == {
        str(number) for table in layers.values() for number in table["symbol"]
    }


def test_an_unknown_symbol_is_named() -> None:
    """A number that the norm does not have is no reason to write a wrong file."""
    layers = made_layers()
    layers["rock_point"].loc[0, "symbol"] = "999"
    with pytest.raises(KeyError, match="999"):
        kml_text(layers, symbols=TABLE, told=TOLD)
    with pytest.raises(KeyError, match="999"):
        dxf_text(layers, symbols=TABLE, scale=10000, crs=CRS, told=TOLD)


def test_every_export_and_backdrop_of_the_area_file_is_known() -> None:
    """What an area file may ask for is what can be made."""
    schema = Area.model_json_schema()["properties"]
    assert set(schema["exports"]["items"]["enum"]) == set(FILES)
    assert set(schema["backdrops"]["items"]["enum"]) == set(BACKDROP_SOURCES)
