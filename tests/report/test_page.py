"""The page as a file: places, shapes, pictures and words in it, before any browser reads it."""

from __future__ import annotations

import base64
import datetime
import hashlib
import io
import json
import math
import re
import zlib

import numpy as np
import pandas as pd
import pyproj
import pytest
import shapely
from PIL import Image

from pipeline.norm.symbols import norm_table
from pipeline.report.blocks import data_block
from pipeline.report.lists import checks_of, effort_of, plain
from pipeline.report.pictures import pixel_for, turned
from pipeline.report.place import place_of_page
from pipeline.report.quality import UNKNOWN, quality_of
from pipeline.report.shapes import features_of, steps_of
from tests.exports.made_draft import CRS, counts, made_layers
from tests.report import made_page
from tests.report.made_page import GROUND, HOSTILE, OUTLINE, SHAPE


def content_of(page: str, name: str) -> object:
    """A data block as a browser reads it."""
    found = re.search(rf'<script type="([^"]+)" id="data-{name}">(.*?)</script>', page, re.DOTALL)
    assert found is not None, name
    kind, text = found.groups()
    return json.loads(text if kind.endswith("json") else zlib.decompress(base64.b64decode(text)))


def test_degrees_agree_with_the_projection() -> None:
    """Anywhere on a map of 5 km, to less than 2 cm on the ground."""
    wide = place_of_page(
        shapely.box(600_000, 5_300_000, 605_000, 5_304_000), crs=CRS, map_date=datetime.date(2027, 4, 10)
    )
    fit = wide.degrees_by()
    places = np.random.default_rng(3).uniform((0, 0), (wide.width_m, wide.height_m), (50, 2))
    x, y = ((places - fit["middle"]) / 1000).T
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y])
    ground = np.array([~wide.map_from_ground @ tuple(place) for place in places])
    to_degrees = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(ground[:, 0], ground[:, 1])
    _, _, far_m = pyproj.Geod(ellps="GRS80").inv(longitude, latitude, fit["longitude"] @ terms, fit["latitude"] @ terms)
    assert far_m.max() < 0.02


def test_the_map_lies_as_the_sheet_does() -> None:
    """Magnetic north is up, and a metre of the map is one on the ellipsoid."""
    where = made_page.place()
    east, north = shapely.get_coordinates(OUTLINE.centroid)[0]
    angle = math.radians(where.north.grid_deg)
    far = np.array([(east, north), (east + 100 * math.sin(angle), north + 100 * math.cos(angle))])
    (x1, y1), (x2, y2) = where.on_map(far)
    assert (x2 - x1, y2 - y1) == pytest.approx((0, 100 / where.north.scale_factor), abs=1e-6)


def test_steps_lead_back_to_the_places() -> None:
    """To half a step of 0.1 m, however long the line: rounding does not add up."""
    where = made_page.place()
    points = np.random.default_rng(1).uniform(0, 0.3, (5000, 2)).cumsum(axis=0) + OUTLINE.bounds[:2]
    told = np.array(steps_of(points, where)).reshape(-1, 2).cumsum(axis=0) / 10
    line = shapely.LineString(told)
    far = shapely.distance(shapely.points(where.on_map(points)), line)
    assert far.max() <= 0.08
    assert np.abs(told[-1] - where.on_map(points)[-1]).max() <= 0.05 + 1e-9


def test_every_feature_of_a_draft_is_told() -> None:
    """As many as the layers have, with all rings, and each symbol's look once."""
    told = features_of(made_layers(), made_page.place(), norm_table())
    assert len(told["id"]) == sum(counts().values())
    holed = told["id"].index(made_layers()["vegetation_area"]["id"][0])
    assert len(told["rings"][holed]) == 2
    looks = [(look["number"], look["kind"]) for look in told["symbols"]]
    assert len(looks) == len(set(looks))
    assert all(look["paints"] for look in told["symbols"])


def test_what_a_mapper_left_empty_is_empty() -> None:
    """A feature drawn by hand, without evidence or confidence, and one without a geometry."""
    table = made_layers()["rock_point"].copy()
    table.loc[0, ["evidence", "origin"]] = None
    table.loc[0, "confidence"] = np.nan
    table.loc[1, "geometry"] = None
    told = features_of({"rock_point": table}, made_page.place(), norm_table())
    assert (len(told["id"]), told["evidence"][0], told["origin"][0], told["sure"][0]) == (len(table) - 1, "", "", 0)


def test_a_block_cannot_end_early_nor_hold_what_is_no_number() -> None:
    """Short and packed blocks bring hostile words back as they were; the block's own name is checked."""
    for text in (HOSTILE, HOSTILE * 200, "<!--<script>"):
        block = data_block("words", [text])
        assert block.count("</script>") == 1
        assert content_of(block, "words") == [text]
    with pytest.raises(ValueError, match="cannot name"):
        data_block('x"><script>', [])
    with pytest.raises(ValueError, match="JSON compliant"):
        data_block("words", [math.nan])
    assert plain({"a": math.nan, "b": [math.inf, np.float32(0.5)], "c": np.int64(3)}) == {
        "a": None,
        "b": [None, 0.5],
        "c": 3,
    }


def test_the_page_names_its_code_by_checksum_and_forbids_the_network() -> None:
    """One script and one style, those the rule names; no address of another file; no handler inside a tag."""
    html = made_page.page()
    rules = re.search(r'Content-Security-Policy" content="([^"]+)"', html)
    assert rules is not None
    assert "default-src 'none'" in rules[1]
    assert "unsafe" not in rules[1]
    for tag in ("script", "style"):
        texts = re.findall(rf"<{tag}>(.*?)</{tag}>", html, re.DOTALL)
        assert len(texts) == 1
        checksum = base64.b64encode(hashlib.sha256(texts[0].encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{checksum}'" in rules[1]
        html = html.replace(texts[0], "")
    assert not re.search(r"\s(src|href)=\"(?!#|data:)", html)
    assert not re.search(r"<[^>]+\son\w+=", html)
    assert "<img" not in html


def test_the_same_draft_gives_the_same_page() -> None:
    """Byte for byte: the manifest holds its checksum."""
    assert made_page.page() == made_page.page()


def test_pictures_are_turned_and_bounded() -> None:
    """A mark on the ground lies in the picture where it lies on the map; pixels grow before the picture does."""
    where = made_page.place()
    spot = np.zeros(SHAPE, np.float32)
    spot[100:104, 100:104] = 1
    picture = turned(spot, GROUND, where, pixel_m=1.0)
    row, col = np.unravel_index(np.nanargmax(picture), picture.shape)
    (x, y) = where.on_map(np.array([GROUND @ (102, 102)]))[0]
    assert (col + 0.5, where.height_m - row - 0.5) == pytest.approx((x, y), abs=2.5)
    assert pixel_for(where, most_pixels=1000, finest_m=0.5) ** 2 * 1000 == pytest.approx(where.width_m * where.height_m)
    assert pixel_for(where, most_pixels=10**9, finest_m=0.5) == 0.5
    relief = content_of(made_page.page(), "pictures")["relief"]
    image = Image.open(io.BytesIO(base64.b64decode(relief["src"].partition(",")[2])))
    west, south, east, north = relief["box"]
    assert image.size == (round((east - west) / relief["pixel_m"]), round((north - south) / relief["pixel_m"]))


def test_quality_tells_squares_and_shares() -> None:
    """Ground a known way from returns, and none where there is no survey."""
    where = made_page.place()
    support = np.full(SHAPE, 1.5, np.float32)
    support[:, 100:] = np.nan
    told = quality_of((support, GROUND), where)
    values = np.array(told["squares"]["decimetres"]).reshape(-1, told["squares"]["cols"])
    assert set(np.unique(values[2:-2, 2:-2])) == {UNKNOWN, 15}
    assert told["shares"] == [0.0, 0.0, 100.0, 0.0, 0.0]


def test_lists_keep_what_has_a_place() -> None:
    """Rows without coordinates go; a table without the columns gives none; keys stay with the place."""
    where = made_page.place()
    rows = checks_of(made_page.checks(), where, kind="notes")
    assert [row["name"] for row in rows] == ["001", "002", "003"]
    assert len({row["key"] for row in rows}) == 3
    broken = made_page.checks().assign(east_m=["", "no number", math.inf])
    assert checks_of(broken, where, kind="notes") == []
    assert checks_of(pd.DataFrame({"rank": [1]}), where, kind="notes") == []
    (cell,) = effort_of(made_page.effort(), where)["cells"]
    ring = np.array(cell["corners"]).reshape(-1, 2)
    assert shapely.Polygon(ring).area == pytest.approx(250.0**2, rel=2e-3)


def test_a_page_with_the_draft_alone_stands() -> None:
    """Without lists, pictures, estimate or calibration."""
    few = {name: block for name, block in made_page.blocks().items() if name in ("about", "place", "features")}
    assert content_of(made_page.page(few), "about")["name"] == HOSTILE
