"""The fieldwork sheet: what it shows that the field sheet leaves out, and where."""

import datetime
import io
import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pdfplumber
import pytest
from affine import Affine
from shapely.geometry import LineString, Point, Polygon, box

from pipeline.errors import InputError
from pipeline.features import make_features
from pipeline.files.fieldwork.check_lists import read_check_list
from pipeline.settings import SheetSettings
from pipeline.sheet.drawing import draw_sheet
from pipeline.sheet.fieldwork import CheckPoint, Fieldwork, Relief, draw_fieldwork
from pipeline.sheet.page.colours import tint
from pipeline.sheet.picture import render_png
from pipeline.sheet.texts import Told
from pipeline.steps.fieldwork_sheet import _changed_places, _check_points
from pipeline.words.language import Language
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
    *,
    side_m: float = 300,
    relief: Relief | None = None,
    check_points: tuple[CheckPoint, ...] = (),
    patches: tuple[Polygon, ...] | None = None,
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
        language=Language(),
        told=Told(datetime.date(2026, 11, 28)),
        relief=relief,
        check_points=check_points,
        patches=patches,
    )


def place_of(sheet: Fieldwork, east_m: float, north_m: float, page: int = 0) -> tuple[float, float]:
    """Millimetres of the page of a place on the ground: on the enlargement of the map, where it has one."""
    shown = sheet.sheets[page].enlargement if sheet.sheets[page].enlarged else sheet.sheets[page]
    right, up = shown.page_from_map @ sheet.frame.map_from_ground @ (east_m, north_m)
    return right, up


def test_a_kilometre_is_twenty_centimetres() -> None:
    """The sheet is at 1:5 000 whatever the scale of the map: 260 m of contour are 52 mm, and enlarged twice as long."""
    with pdfplumber.open(io.BytesIO(fieldwork().pdf)) as document:
        page = document.pages[0]
        brown = [line for line in page.lines if line["stroking_color"] == tint("brown")]
        lengths = [math.dist((line["x0"], line["y0"]), (line["x1"], line["y1"])) * MM for line in brown]
        assert "The map once more, enlarged to 1:2 500" in page.extract_text()
    assert sorted(lengths)[-2:] == pytest.approx([52.0, 104.0], rel=1e-3)


def test_the_map_takes_the_larger_part_of_a_page() -> None:
    """A small map is enlarged below itself or beside it; one that nearly fills the page is not, nor is a large one."""
    for side_m, is_enlarged in ((150, True), (300, True), (420, False), (800, False), (1500, False)):
        sheets = fieldwork(side_m=side_m).sheets
        assert [sheet.enlarged is not None for sheet in sheets] == [is_enlarged] * len(sheets)
        if is_enlarged:
            page, box = sheets[0], sheets[0].enlarged
            assert page.factor >= 2
            assert max(box.width / page.window.width, box.height / page.window.height) >= 2
            assert box.right < page.width_mm
            assert box.bottom > page.columns[0].top


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
    assert len(pink) == len(black) == 2, "on the map and on its enlargement"
    ratio = [thin["linewidth"] / thick["linewidth"] for thin, thick in zip(pink, black, strict=True)]
    assert ratio == pytest.approx([0.6, 0.6], abs=0.005)
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
        assert 1.0 < figure["x0"] * MM - right < 2.5
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


def test_the_rim_of_a_patch_that_changed_is_drawn_where_it_lies() -> None:
    """Four lines in the colour of places to look at, where the corners of a square patch lie; none without a patch."""
    patch = box(EAST + 100, NORTH + 100, EAST + 160, NORTH + 160)

    def rim(sheet: Fieldwork) -> list[tuple[float, float]]:
        with pdfplumber.open(io.BytesIO(sheet.pdf)) as document:
            lines = [one for one in document.pages[0].lines if np.allclose(one["stroking_color"], tint("purple"))]
            return [(x * MM, y * MM) for one in lines for x, y in ((one["x0"], one["y0"]), (one["x1"], one["y1"]))]

    drawn, without = fieldwork(patches=(patch,)), fieldwork()
    assert len(rim(drawn)) == len(rim(without)) + 2 * 2 * 4, "on the map, and on the map enlarged"
    corner = place_of(drawn, EAST + 100, NORTH + 100)
    assert min(math.dist(corner, end) for end in rim(drawn)) < 0.1


def test_what_the_list_tells_of_has_no_figure_of_its_own() -> None:
    """The candidate at a place to look at has its number only; one 60 m away keeps its figure."""
    point = CheckPoint(7, "is there a boulder?", "the crown hides it", EAST + 182, NORTH + 61)
    with pdfplumber.open(io.BytesIO(fieldwork(check_points=(point,)).pdf)) as document:
        words = {word["text"] for word in document.pages[0].extract_words(keep_blank_chars=True)}
    assert {"7", "63"} <= words
    assert "204: 37" not in words


def test_rings_beside_a_better_place_are_small() -> None:
    """Of three places the second is too near to the first; numbers of all three are told and none over another."""
    points = tuple(CheckPoint(n, "?", "", EAST + east_m, NORTH + 220) for n, east_m in ((1, 60), (2, 66), (3, 200)))
    with pdfplumber.open(io.BytesIO(fieldwork(check_points=points).pdf)) as document:
        page = document.pages[0]
        purple = [c for c in page.curves if np.allclose(c["stroking_color"], tint("purple"))]
        words = [word for word in page.extract_words() if word["text"] in "123" and word["bottom"] - word["top"] > 6]
    wide = sorted(round(curve["width"] * MM, 1) for curve in purple)
    assert wide == [1.8, 1.8, 1.8, 1.8, 4.4, 4.4], "small on the small map"
    assert sorted(word["text"] for word in words) == ["1", "1", "2", "2", "3", "3"]


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


def test_the_sheet_draws_a_ring_for_each_stop_that_has_room(tmp_path) -> None:
    """Questions of one stop share a ring; a lesser stop too near to a better one has none; nor what is in no outing."""
    path = tmp_path / "check_list.csv"
    names = ["001", "001b", "002", "003", "004"]
    rows = pd.DataFrame({"rank": range(1, 6), "name": names, "outing": [1, 1, 1, 1, 0], "look_at": ["a?"] * 5})
    places = {"east_m": [EAST, EAST + 4, EAST + 20, EAST + 50, EAST + 90], "north_m": [NORTH] * 5}
    rows.assign(why=["p", "q", "r", "s", "t"], **places).to_csv(path, index=False)
    points = _check_points(path)
    assert [(point.number, point.look_at, point.why) for point in points] == [(1, "a? a?", "p; q"), (3, "a?", "s")]
    assert points[0].east_m == EAST


def test_a_sheet_of_changes_says_so() -> None:
    """It calls itself one, numbers its places as the list does, and leaves candidates and doubts to the other sheet."""
    patches = (
        box(EAST + 80, NORTH + 200, EAST + 120, NORTH + 240),
        box(EAST + 124, NORTH + 200, EAST + 140, NORTH + 240),
    )
    points = (
        CheckPoint(1, "felled?", "", EAST + 100, NORTH + 220),
        CheckPoint(2, "felled?", "", EAST + 132, NORTH + 220),
    )
    with pdfplumber.open(io.BytesIO(fieldwork(check_points=points, patches=patches).pdf)) as document:
        map_page, notes = (page.extract_text() for page in document.pages[:2])
        colours = [item["non_stroking_color"] for item in (*document.pages[0].chars, *document.pages[0].curves)]
    assert "sheet of changes" in map_page
    assert "fieldwork sheet" not in map_page
    assert {"C1", "C2"} <= set(map_page.split())
    assert "204: 37" not in map_page
    assert "ground that changed since the earlier survey" in notes
    assert "candidate" not in notes
    assert not any(colour is not None and np.allclose(colour, PINK) for colour in colours if len(colour or ()) == 4)
    with pdfplumber.open(io.BytesIO(fieldwork(patches=()).pdf)) as document:
        assert "Nothing was found that changed" in document.pages[1].extract_text()


def test_places_of_changes_are_all_told(tmp_path: Path) -> None:
    """Two that lie next to each other, too: each has a rim of its own. The fieldwork sheet would tell of one."""
    rows = [
        {"rank": n, "name": f"C{n:03d}", "look_at": "?", "why": "", "east_m": EAST + 9 * n, "north_m": NORTH}
        for n in (1, 2)
    ]
    path = tmp_path / "changes_list.csv"
    pd.DataFrame(rows).to_csv(path, index=False)
    assert [point.number for point in _changed_places(path)] == [1, 2]
    assert [point.number for point in _check_points(path)] == [1]
