"""The fieldwork sheet: what it shows that the field sheet leaves out, and where."""

import datetime
import io
import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pdfplumber
import pytest
from affine import Affine
from shapely.geometry import LineString, Point, box

from pipeline.errors import InputError
from pipeline.features import make_features
from pipeline.files.check_lists import read_check_list
from pipeline.settings import SheetSettings
from pipeline.sheet.drawing import draw_sheet
from pipeline.sheet.fieldwork import CheckPoint, Fieldwork, Relief, draw_fieldwork
from pipeline.sheet.page.colours import tint
from pipeline.sheet.picture import render_png
from pipeline.sheet.texts import Told
from tests.paths import symbols

CRS = "EPSG:25832"
EAST, NORTH = 600_000.0, 5_300_000.0
MM = 25.4 / 72
PINK = tint("pink")


def layer() -> gpd.GeoDataFrame:
    """A sure boulder, a doubtful one, and two candidates: a boulder and a wall."""
    rows = [
        ("204", Point(EAST + 60, NORTH + 60), 0.9, "draft"),
        ("204", Point(EAST + 120, NORTH + 60), 0.63, "draft"),
        ("204", Point(EAST + 180, NORTH + 60), 0.37, "candidate"),
        ("513", LineString([(EAST + 50, NORTH + 150), (EAST + 250, NORTH + 150)]), 0.41, "candidate"),
        ("513", LineString([(EAST + 50, NORTH + 200), (EAST + 250, NORTH + 200)]), 0.95, "draft"),
        ("101", LineString([(EAST + 20, NORTH + 250), (EAST + 280, NORTH + 250)]), 0.55, "draft"),
    ]
    table = make_features(
        [row[1] for row in rows],
        crs=CRS,
        symbol=[row[0] for row in rows],
        confidence=[row[2] for row in rows],
        evidence="invented",
    )
    table["status"] = [row[3] for row in rows]
    return table


def fieldwork(
    *, side_m: float = 300, relief: Relief | None = None, check_points: tuple[CheckPoint, ...] = ()
) -> Fieldwork:
    """The fieldwork sheet of an invented place."""
    return draw_fieldwork(
        {"rock_point": layer()},
        symbols=symbols(),
        name="Hollin Edge",
        outline=box(EAST, NORTH, EAST + side_m, NORTH + side_m),
        crs=CRS,
        contour_interval_m=5,
        map_date=datetime.date(2027, 4, 10),
        survey_line="Invented survey.",
        settings=SheetSettings(),
        told=Told(datetime.date(2026, 11, 28)),
        relief=relief,
        check_points=check_points,
    )


def place_of(sheet: Fieldwork, east_m: float, north_m: float, page: int = 0) -> tuple[float, float]:
    """Millimetres of the page of a place on the ground."""
    right, up = sheet.sheets[page].page_from_map @ sheet.frame.map_from_ground @ (east_m, north_m)
    return right, up


def test_a_kilometre_is_twenty_centimetres() -> None:
    """The sheet is at 1:5 000 whatever the scale of the map: 260 m of contour are 52 mm."""
    with pdfplumber.open(io.BytesIO(fieldwork().pdf)) as document:
        page = document.pages[0]
        brown = [line for line in page.lines if line["stroking_color"] == tint("brown")]
        lengths = [math.dist((line["x0"], line["y0"]), (line["x1"], line["y1"])) * MM for line in brown]
    assert max(lengths) == pytest.approx(52.0, rel=1e-3)


def test_candidates_are_thin_and_pink_and_told_apart() -> None:
    """A candidate wall is 0.6 as thick as a drawn one and pink, and its number and percent stand beside it.

    The same candidates are not on the field sheet.
    """
    sheet = fieldwork()
    with pdfplumber.open(io.BytesIO(sheet.pdf)) as document:
        page = document.pages[0]
        words = {word["text"] for word in page.extract_words(keep_blank_chars=True)}
        pink = [line for line in page.lines if line["stroking_color"] == PINK]
        black = [line for line in page.lines if line["stroking_color"] == tint("black") and line["width"] * MM > 39]
    assert len(pink) == 1
    assert {round(line["linewidth"] / black[0]["linewidth"], 2) for line in pink} == {0.6}
    assert {"204: 37", "513: 41"} <= words
    field_sheet = draw_sheet(
        {"rock_point": layer()},
        symbols=symbols(),
        name="Hollin Edge",
        outline=box(EAST, NORTH, EAST + 300, NORTH + 300),
        crs=CRS,
        scale=10000,
        contour_interval_m=5,
        map_date=datetime.date(2027, 4, 10),
        survey_line="Invented survey.",
        settings=SheetSettings(),
    )
    with pdfplumber.open(io.BytesIO(field_sheet.pdf)) as document:
        assert not [line for line in document.pages[0].lines if line["stroking_color"] == PINK]


def test_doubtful_features_have_a_figure_and_sure_ones_and_contours_none() -> None:
    """The boulder of 63 percent has its figure to its right; those of 90 and 95 and the contour of 55 have none."""
    sheet = fieldwork()
    with pdfplumber.open(io.BytesIO(sheet.pdf)) as document:
        page = document.pages[0]
        words = {word["text"]: word for word in page.extract_words(keep_blank_chars=True)}
        right, up = place_of(sheet, EAST + 120, NORTH + 60)
        figure = words["63"]
        assert 1.0 < figure["x0"] * MM - right < 2.0
        assert abs((page.height - (figure["top"] + figure["bottom"]) / 2) * MM - up) < 1.0
    assert not {"90", "95", "55"} & set(words)


def test_places_to_look_at_are_ringed_numbered_and_told() -> None:
    """A ring stands about the place, its number beside it, and the page of notes says what to look at and why."""
    point = CheckPoint(7, "is there a boulder?", "the crown hides it", EAST + 100, NORTH + 220)
    sheet = fieldwork(check_points=(point,))
    with pdfplumber.open(io.BytesIO(sheet.pdf)) as document:
        page, notes = document.pages
        purple = [c for c in page.curves if np.allclose(c["stroking_color"], tint("purple"))]
        ring = max(purple, key=lambda curve: curve["width"])
        middle = (ring["x0"] + ring["x1"]) / 2 * MM, (ring["y0"] + ring["y1"]) / 2 * MM
        assert math.dist(middle, place_of(sheet, point.east_m, point.north_m)) < 0.05
        assert "7" in {word["text"] for word in page.extract_words()}
        told = notes.extract_text()
        ruled = [line for line in notes.lines if line["width"] * MM > 50]
    assert "7 is there a boulder?" in told
    assert "the crown hides it" in told
    assert len(ruled) >= 20, "room for notes"


def test_relief_lies_under_the_map_where_it_belongs() -> None:
    """A dark square in the relief comes out grey at its place on the page; beside it and without relief it is white."""
    shade = np.full((300, 300), 255, np.uint8)
    # 20 m of shade, its corner 200 m east and 80 m south of the area's upper left one.
    shade[80:100, 200:220] = 60
    relief = Relief(shade, Affine(1, 0, EAST, 0, -1, NORTH + 300))
    dpi = 200
    sheet = fieldwork(relief=relief)
    found = {}
    for name, drawing in (("with", sheet), ("without", fieldwork())):
        picture = render_png(drawing.pdf, dpi=dpi)
        for where, (east_m, north_m) in {"in": (210.0, 210.0), "beside": (240.0, 213.0)}.items():
            right, up = place_of(sheet, EAST + east_m, NORTH + north_m)
            row, column = picture.shape[0] - round(up / 25.4 * dpi), round(right / 25.4 * dpi)
            found[name, where] = float(picture[row - 3 : row + 4, column - 3 : column + 4].mean())
    assert found["with", "in"] < 215
    assert found["with", "beside"] > 245
    assert found["without", "in"] > 245


def test_a_large_area_is_spread_over_sheets_with_an_index() -> None:
    """A square kilometre is 20 cm wide and needs several A4 pages; each says which it is and has all numbers."""
    sheet = fieldwork(side_m=1500)
    n = len(sheet.sheets)
    assert n > 2
    with pdfplumber.open(io.BytesIO(sheet.pdf)) as document:
        for number, page in enumerate(document.pages[:n], 1):
            assert f"sheet {number} of {n}" in page.extract_text()
            assert sorted((round(page.width * MM), round(page.height * MM))) == [210, 297]
            assert "VP" in page.page_obj.attrs
            foot = page.crop((page.width - 100, page.height - 120, page.width, page.height)).extract_words()
            assert {str(i) for i in range(1, n + 1)} <= {word["text"] for word in foot}


def test_check_list_is_read_and_an_unreadable_one_refused(tmp_path) -> None:
    """Rows with a place come back in order; one without a place is passed over; a missing column is named."""
    path = tmp_path / "check_list.csv"
    rows = pd.DataFrame(
        {
            "rank": [1, 2],
            "look_at": ["a", "b"],
            "why": ["c", "d"],
            "east_m": [EAST, ""],
            "north_m": [NORTH, ""],
        }
    )
    rows.to_csv(path, index=False)
    read = read_check_list(path)
    assert list(read["rank"]) == [1]
    assert read["east_m"].iloc[0] == EAST
    rows.drop(columns="why").to_csv(path, index=False)
    with pytest.raises(InputError, match="why"):
        read_check_list(path)
