"""Ticks of the grid, corners of the frame, the interval's word, symbols beside the edge, words of the sheet."""

import datetime
import io
import math
from dataclasses import replace

import numpy as np
import pdfplumber
import pyproj
import pytest
from affine import Affine
from shapely import affinity
from shapely.geometry import LineString, Point, box

from pipeline.settings import SheetSettings
from pipeline.sheet import texts
from pipeline.sheet.drawing import draw_sheet
from pipeline.sheet.interval import steep_percent
from pipeline.sheet.legend import samples
from pipeline.sheet.page.ink import Ink
from pipeline.sheet.page.page import Box, Sheet
from pipeline.sheet.page.position import LEAST_STEP_MM, corners, tick_step_m, ticks
from pipeline.sheet.picture import grid_north_up, map_picture, render_png
from pipeline.sheet.symbols.edge import clear_of_edge
from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.symbol import draw_marks
from pipeline.words.codes import LanguageCode
from pipeline.words.language import Language
from tests.paths import symbols
from tests.sheet.test_sheet import EAST, NORTH, UTM32, features, sheet_of

TABLE = symbols()
NOTHING = np.array([np.nan])
NOTHING_TOLD = texts.Told()


@pytest.mark.parametrize("turn_deg", [-17.0, 0.0, 3.0, 50.0])
def test_ticks_lie_on_the_frame_at_round_coordinates(turn_deg: float) -> None:
    """Each tick is on its edge, its figures are its easting or northing, and it points outwards along the grid line."""
    window = Box(20.0, 30.0, 100.0, 80.0)
    sheet = Sheet(210, 297, Box(0, 0, 1, 1), window, (0.0, 0.0), 1.0, ())
    to_page = (
        Affine.translation(20, 30) @ Affine.rotation(turn_deg) @ Affine.scale(0.1) @ Affine.translation(-EAST, -NORTH)
    )
    found = ticks(sheet, to_page, 200)
    assert {tick.side for tick in found} == {"left", "right", "bottom", "top"}
    for tick in found:
        right, up = tick.place_mm
        assert (right in (window.left, window.right)) or (up in (window.bottom, window.top))
        ground = np.array(~to_page @ tick.place_mm)
        along = np.array(~to_page @ (right + tick.way[0], up + tick.way[1])) - ground
        axis = int(abs(along[0]) > abs(along[1]))
        assert ground[axis] == pytest.approx(float(tick.words), abs=1e-6)
        assert along[axis] == pytest.approx(0, abs=1e-6)
        outside = right + tick.way[0], up + tick.way[1]
        assert not (window.left < outside[0] < window.right and window.bottom < outside[1] < window.top)


@pytest.mark.parametrize("scale", [5000, 7500, 10000, 15000])
def test_ticks_leave_room_for_their_figures(scale: int) -> None:
    """Ticks are at least the least step apart, and not more than three times that."""
    assert LEAST_STEP_MM <= tick_step_m(scale) * 1000 / scale <= 3 * LEAST_STEP_MM


def test_corners_are_printed_in_metres_and_degrees_that_agree() -> None:
    """The four printed corners, degrees brought to the grid by pyproj, lie within a metre of the printed metres.

    They are the corners of the frame of the page.
    """
    drawing = sheet_of({})
    with pdfplumber.open(io.BytesIO(drawing.pdf)) as document:
        lines = document.pages[0].extract_text().splitlines()
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", UTM32, always_xy=True)
    frame = corners(drawing.sheets[0], drawing.page_from_ground(), UTM32)
    for name, corner in zip(texts.CORNER_NAMES, frame, strict=True):
        words = next(line for line in lines if name in line)
        east, north, latitude, longitude = map(float, words[words.index(name) + len(name) :].split()[:4])
        assert math.dist(to_grid.transform(longitude, latitude), (east, north)) < 1.2
        assert math.dist((corner.east_m, corner.north_m), (east, north)) < 0.8


def test_unturned_picture_lies_where_the_turned_one_does() -> None:
    """A block on the ground is found at its place in the picture with grid north up; outside the map is clear."""
    block = box(EAST + 380, NORTH + 90, EAST + 420, NORTH + 130)
    drawing = sheet_of({"a": features(("521", block))})
    picture = render_png(drawing.pdf, dpi=300)
    turned, transform = grid_north_up(*map_picture(drawing, picture))
    assert transform.b == 0
    assert transform.d == 0
    dark = np.argwhere((turned[..., :3].max(axis=2) < 90) & (turned[..., 3] == 255))
    near = dark[np.hypot(*(dark - np.array(~transform @ (EAST + 400, NORTH + 110))[::-1]).T) < 40]
    row, column = near.mean(axis=0) + 0.5
    assert math.dist(transform @ (column, row), (EAST + 400, NORTH + 110)) < transform.a
    assert turned[0, 0, 3] == 0


def _plane(slope: float, interval_m: float, *, side_mm: float = 100.0, scale: int = 10000) -> np.ndarray:
    """Contours of an even slope to the east, in millimetres of the map."""
    step_mm = interval_m / slope * 1000 / scale
    at = np.arange(step_mm / 2, side_mm, step_mm)
    return np.array([LineString([(x, 0), (x, side_mm)]) for x in at], object)


def test_a_word_where_a_small_interval_lies_on_a_steep_slope() -> None:
    """A slope of 35 % gets the word with 2.5 m, not with 5 m; one of 10 % never; a half and half slope says half."""
    outline = box(0, 0, 100, 100)
    said = {"scale": 10000, "interval_m": 2.5}
    assert steep_percent(_plane(0.35, 2.5), outline, **said) == 100
    assert steep_percent(_plane(0.35, 5.0), outline, scale=10000, interval_m=5.0) == 0
    assert steep_percent(_plane(0.10, 2.5), outline, **said) == 0
    steep = _plane(0.35, 2.5, side_mm=50)
    above = np.array([affinity.translate(line, 0, 50) for line in steep], object)
    assert steep_percent(np.concatenate([steep, above]), outline, **said) == 50
    assert steep_percent(np.empty(0, object), outline, **said) == 0


def test_point_symbols_stand_wholly_inside_the_edge() -> None:
    """A boulder on the edge and one beyond a corner are moved inwards by their size; one inside stays."""
    outline = box(0, 0, 50, 50)
    places = np.array([Point(0, 20), Point(50.1, 50.1), Point(25, 25)], object)
    nothing = np.full(3, np.nan)
    mark = Marks(TABLE["205"], "point", places, nothing, nothing, 1.5)
    moved = clear_of_edge([mark], outline)[0].geometry
    radius = TABLE["205"].mm("dot_mm") * 1.5 / 2
    assert all(outline.contains(dot.buffer(radius)) for dot in moved)
    assert moved[0].distance(places[0]) < radius + 0.2
    assert moved[2].equals(places[2])
    narrow = clear_of_edge([mark], box(0, 0, 50, 0.2))[0]
    assert [a.equals(b) for a, b in zip(narrow.geometry, places, strict=True)] == [True] * 3


@pytest.mark.parametrize("number", ["407", "308"])
def test_no_area_of_lines_shows_a_single_line(number: str) -> None:
    """A narrow area has two lines wherever it lies, as one reads as a line of its own; a wide one keeps its step."""
    spacing = TABLE[number].mm("spacing_mm")
    upright = number == "407"
    for shift in np.linspace(0, spacing, 7):
        sides = (shift, 0, shift + 0.9 * spacing, 5) if upright else (0, shift, 5, shift + 0.9 * spacing)
        assert _n_lines(number, sides) == 2
    wide = (0, 0, 10 * spacing + 0.01, 5) if upright else (0, 0, 5, 10 * spacing + 0.01)
    assert _n_lines(number, wide) == 11


def _n_lines(number: str, sides: tuple[float, float, float, float]) -> int:
    """Lines of the pattern drawn for one rectangle."""
    ink = Ink()
    area = np.array([box(*sides)], object)
    draw_marks(ink, Marks(replace(TABLE[number], edge=""), "area", area, NOTHING, NOTHING, 1.0))
    text = "".join("".join(part) for part in ink.plates.values())
    stroked = text[text.index("W n") :]
    return stroked.count(" m\n")


def test_blue_stays_blue_on_yellow_and_green() -> None:
    """A stream has the same colour on open land, in a thicket and on white; a contour is darker on green."""
    land = box(EAST, NORTH, EAST + 200, NORTH + 500)
    thicket = box(EAST + 200, NORTH, EAST + 400, NORTH + 500)
    stream = LineString([(EAST + 10, NORTH + 250), (EAST + 590, NORTH + 250)])
    contour = LineString([(EAST + 10, NORTH + 350), (EAST + 590, NORTH + 350)])
    marks = (("401", land), ("410", thicket), ("301", stream.buffer(15)), ("102", contour))
    drawing = sheet_of({"a": features(*marks)}, scale=5000)
    picture = render_png(drawing.pdf, dpi=200)
    seen = {}
    for where, east_m in (("yellow", 80.0), ("green", 330.0), ("white", 480.0)):
        for what, north_m in (("blue", 250.0), ("brown", 350.0)):
            right, up = drawing.page_from_ground() @ (EAST + east_m, NORTH + north_m)
            seen[what, where] = picture[picture.shape[0] - round(up / 25.4 * 200), round(right / 25.4 * 200)].astype(
                int
            )
    assert np.abs(seen["blue", "yellow"] - seen["blue", "white"]).max() <= 2
    assert np.abs(seen["blue", "green"] - seen["blue", "white"]).max() <= 2
    assert seen["brown", "green"].sum() < seen["brown", "white"].sum() - 60


def test_slope_line_is_shown_on_its_contour() -> None:
    """The sample of a slope line is a stroke that begins on a contour and points away from it."""
    (contour, curve), (number, stroke) = samples("101.1", "line", Box(0, 0, 10, 4), enlarge=1.5)
    assert (contour, number) == ("101", "101.1")
    assert curve.distance(Point(stroke.coords[0])) < 1e-6
    assert stroke.length == pytest.approx(TABLE["101.1"].mm("length_mm") * 1.5)


@pytest.mark.parametrize("code", ["en", "de", "fi"])
def test_foot_of_a_numbered_sheet_loses_nothing(code: LanguageCode) -> None:
    """A long credit and long words still leave room in the foot for the credit's end and for all four corners."""
    language = Language(code)
    credit = "The Survey of the Three Counties and of the Islands, " * 8 + "licence CC BY 4.0."
    drawing = draw_sheet(
        {},
        symbols=TABLE,
        name="Hollin Edge",
        outline=box(EAST, NORTH, EAST + 3000, NORTH + 3000),
        crs=UTM32,
        scale=10000,
        contour_interval_m=5,
        map_date=datetime.date(2027, 4, 10),
        survey_line=credit,
        settings=SheetSettings(paper="A4"),
        language=language,
    )
    with pdfplumber.open(io.BytesIO(drawing.pdf)) as document:
        for page in document.pages[1:]:
            foot = " ".join(page.crop((0, page.height - 120, page.width, page.height)).extract_text().split())
            assert "CC BY 4.0." in foot
            for name in texts.CORNER_NAMES:
                assert language.say(name) in foot


def _text(scale: int, told: texts.Told = NOTHING_TOLD) -> texts.MapText:
    north = sheet_of({}).north
    return texts.MapText("Edge", scale, 2.5, datetime.date(2027, 4, 10), "Lidar.", north, told)


def test_every_date_says_of_what_it_is() -> None:
    """Day of the map, days of the flight and day of the draft are told apart; an unknown flight is said to be so."""
    told = texts.Told(datetime.date(2026, 11, 28), ("2020-07-28", "2020-07-30"), ())
    said = " ".join(texts.dates(_text(10000, told))).replace("\u00a0", " ")
    assert "Map: 10 Apr 2027" in said
    assert "Lidar: flown 28 Jul 2020 to 30 Jul 2020." in said
    assert "Draft: made 28 Nov 2026." in said
    assert "not known" in " ".join(texts.dates(_text(10000)))


@pytest.mark.parametrize(("scale", "percent"), [(15000, None), (10000, 150), (7500, 200), (5000, 300)])
def test_an_enlargement_is_called_one(scale: int, percent: int | None) -> None:
    """All but 1:15 000 say by how much symbols are enlarged; 1:7 500 and 1:5 000 that the norm lacks them."""
    title = " ".join(texts.title_facts(_text(scale), part="", scale=scale))
    sources = " ".join(texts.sources(_text(scale)))
    assert ("enlarged" in title) == (percent is not None)
    if percent:
        assert f"{percent} %" in title
        assert f"{percent} %" in sources
    assert ("for work and training" in sources) == (scale in (7500, 5000))


def test_cautions_name_what_is_never_shown() -> None:
    """What no draft shows is always said, and what this survey cannot show where there is such a thing."""
    told = texts.Told(not_found=("boulders", "paths"))
    assert "boulders, paths" in " ".join(texts.cautions(_text(10000, told)))
    assert "too thin" not in " ".join(texts.cautions(_text(10000)))
    assert texts.NEVER_SHOWN in texts.cautions(_text(10000))


def test_own_numbers_are_not_printed_among_the_norms() -> None:
    """The sheet's edge and ground not seen stand in the legend by name; north lines keep the norm's number."""
    assert texts.legend_words("600", "Sheet edge", texts.ENGLISH) == "Sheet edge"
    assert texts.legend_words("600.1", "Not seen", texts.ENGLISH) == "Not seen"
    assert texts.legend_words("601", "North", texts.ENGLISH) == "601  North"
