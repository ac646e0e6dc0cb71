"""The field sheet: how ground becomes paper, how symbols are drawn, what stands beside the map."""

import datetime
import math
import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree
from shapely.geometry import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from pipeline.features import make_features
from pipeline.norm.symbols import KIND_OF_GEOMETRY
from pipeline.settings import SheetSettings
from pipeline.sheet.content import VERTEX_TOLERANCE_MM, simplified
from pipeline.sheet.drawing import SheetDrawing, draw_sheet
from pipeline.sheet.marginalia import bar_length_m, fitted_name
from pipeline.sheet.page.colours import PLATES, Plate
from pipeline.sheet.page.ink import Ink
from pipeline.sheet.page.letters import BOLD, text_width_mm
from pipeline.sheet.page.north import north_of_area
from pipeline.sheet.page.page import flow, frame_of, lowest_height
from pipeline.sheet.picture import ground_from_pixel, map_picture, map_resolution_dpi, render_png, sheet_pictures
from pipeline.sheet.symbols.areas import scattered_tile
from pipeline.sheet.symbols.marks import Marks, evenly, fitted_dashes, stations
from pipeline.sheet.symbols.symbol import draw_marks
from tests.paths import symbols
from tests.symbol_chart import cell_of, chart_entries, draw_chart

TABLE = symbols()
UTM32 = "EPSG:25832"
EAST, NORTH = 600_000.0, 5_300_000.0
SPRING = datetime.date(2027, 4, 10)
SETTINGS = SheetSettings()


def features(*marks: tuple[str, BaseGeometry], crs: str = UTM32) -> gpd.GeoDataFrame:
    """A layer of the given symbols."""
    return make_features(
        [geometry for _, geometry in marks], crs=crs, symbol=[s for s, _ in marks], confidence=0.9, evidence="invented"
    )


def sheet_of(
    layers: dict[str, gpd.GeoDataFrame],
    *,
    width_m: float = 600,
    height_m: float = 500,
    scale: int = 10000,
    settings: SheetSettings = SETTINGS,
    crs: str = UTM32,
    corner: tuple[float, float] = (EAST, NORTH),
) -> SheetDrawing:
    """The sheet of an invented place."""
    return draw_sheet(
        layers,
        symbols=TABLE,
        name="Hollin Edge",
        outline=box(corner[0], corner[1], corner[0] + width_m, corner[1] + height_m),
        crs=crs,
        scale=scale,
        contour_interval_m=5,
        map_date=SPRING,
        survey_line="Invented survey, 8 pulses/m2.",
        settings=settings,
    )


def centre_of_black(picture: NDArray[np.uint8]) -> tuple[float, float]:
    """Column and row of the middle of the dark block, counted as GDAL does: pixel centres at a half."""
    # Lines are a few pixels wide: the erosion leaves the block alone, and its middle where it is.
    row, column = ndimage.center_of_mass(ndimage.binary_erosion(picture.max(axis=2) < 90, iterations=4))
    return column + 0.5, row + 0.5


# ---------------------------------------------------------------- ground to paper


@pytest.mark.parametrize(
    ("crs", "corner", "scale"),
    [
        (UTM32, (EAST, NORTH), 10000),
        (UTM32, (EAST, NORTH), 7500),
        ("EPSG:3005", (1_100_000.0, 500_000.0), 15000),
        ("EPSG:3857", (1_200_000.0, 8_300_000.0), 10000),
    ],
)
def test_picture_knows_its_place_on_the_ground(crs: str, corner: tuple[float, float], scale: int) -> None:
    """A building at a known place is found in the picture, and its pixel leads back to less than one pixel."""
    side_m = 20 * scale / 10000
    for place in ((170.0, 90.0), (480.0, 420.0)):
        east, north = corner[0] + place[0], corner[1] + place[1]
        block = box(east - side_m, north - side_m, east + side_m, north + side_m)
        drawing = sheet_of({"manmade_area": features(("521", block), crs=crs)}, crs=crs, corner=corner, scale=scale)
        picture = render_png(drawing.pdf, dpi=300)
        cut, transform = map_picture(drawing, picture)
        found = transform @ centre_of_black(cut)
        pixel_m = math.hypot(transform.a, transform.d)
        assert math.dist(found, (east, north)) < 0.5 * pixel_m
        assert pixel_m == pytest.approx(25.4 / 300 / 1000 * scale * drawing.north.scale_factor, rel=2e-3)
        whole = ground_from_pixel(drawing, picture)
        assert (~whole @ found)[0] > (~transform @ found)[0]


def test_lengths_are_true_to_the_scale_on_the_ground() -> None:
    """A hundred metres on the ellipsoid are a centimetre at 1:10 000, whatever the projection does to them."""
    outline = box(1_200_000, 8_300_000, 1_202_000, 8_301_000)
    north = north_of_area(outline, crs="EPSG:3857", date=SPRING)
    frame = frame_of(outline, north=north, scale=10000)
    start, end = (frame.map_from_ground @ (1_200_000 + d, 8_300_000) for d in (0, 100 * north.scale_factor))
    assert north.scale_factor > 1.9
    assert math.dist(start, end) == pytest.approx(10.0, rel=1e-9)


def test_magnetic_north_is_up() -> None:
    """A step towards magnetic north goes straight up the page."""
    drawing = sheet_of({})
    angle = math.radians(drawing.north.grid_deg)
    start = drawing.page_from_ground() @ (EAST + 300, NORTH + 200)
    end = drawing.page_from_ground() @ (EAST + 300 + 100 * math.sin(angle), NORTH + 200 + 100 * math.cos(angle))
    assert end[0] == pytest.approx(start[0], abs=1e-6)
    assert end[1] - start[1] == pytest.approx(10 / drawing.north.scale_factor)


def test_map_lies_inside_its_page() -> None:
    """Every corner of the area is on the page, inside the window of the map."""
    drawing = sheet_of({})
    window = drawing.sheets[0].window
    for corner in ((0, 0), (600, 0), (600, 500), (0, 500)):
        right, up = drawing.page_from_ground() @ (EAST + corner[0], NORTH + corner[1])
        assert window.left - 1e-6 <= right <= window.right + 1e-6
        assert window.bottom - 1e-6 <= up <= window.top + 1e-6


# ---------------------------------------------------------------- paper


@pytest.mark.parametrize(
    ("width_m", "height_m", "scale", "paper_mm", "pages"),
    [
        (300, 300, 10000, (148, 210), 1),
        (1700, 1000, 10000, (210, 297), 1),
        (1000, 1700, 10000, (210, 297), 1),
        (3000, 2300, 10000, (297, 420), 1),
        (2700, 2000, 15000, (210, 297), 1),
        (6000, 5000, 10000, (297, 420), 6),
    ],
)
def test_paper_is_as_small_as_the_map_allows(
    width_m: float, height_m: float, scale: int, paper_mm: tuple[float, float], pages: int
) -> None:
    """The smallest paper that holds map and legend; what is larger than A3 goes on several sheets and an overview."""
    drawing = sheet_of({}, width_m=width_m, height_m=height_m, scale=scale)
    first = drawing.sheets[0]
    assert tuple(sorted((first.width_mm, first.height_mm))) == paper_mm
    assert len(drawing.sheets) == (1 if pages == 1 else pages + 1)
    assert (first.magnify == 1) == (pages == 1)


def test_part_sheets_cover_the_area_at_its_scale_and_overlap() -> None:
    """Every place of the area is on a sheet at scale; neighbours share a strip; the overview shows all."""
    drawing = sheet_of({}, width_m=6000, height_m=5000)
    places = np.stack(np.meshgrid(np.linspace(1, 5999, 60), np.linspace(1, 4999, 60)), -1).reshape(-1, 2)
    times = np.zeros(len(places))
    for page, sheet in enumerate(drawing.sheets[1:], 1):
        to_page = drawing.page_from_ground(page)
        assert math.hypot(to_page.a, to_page.d) == pytest.approx(0.1 / drawing.north.scale_factor)
        right, up = to_page @ (places + np.array([EAST, NORTH])).T
        window = sheet.window
        times += (right >= window.left) & (right <= window.right) & (up >= window.bottom) & (up <= window.top)
    assert times.min() == 1
    assert times.max() >= 2


@pytest.mark.parametrize(("paper", "paper_mm"), [("A4", [210, 297]), ("Letter", [215.9, 279.4]), ("A3", [297, 420])])
@pytest.mark.parametrize("orientation", ["auto", "portrait", "landscape"])
def test_paper_and_its_orientation_are_kept(paper: str, paper_mm: list[float], orientation: str) -> None:
    """Every page has the paper asked for and lies as asked, be the area small or spread over several sheets."""
    settings = SheetSettings.model_validate({"paper": paper, "orientation": orientation})
    for width_m, height_m in ((400, 300), (5200, 4400)):
        drawing = sheet_of({}, width_m=width_m, height_m=height_m, settings=settings)
        assert (len(drawing.sheets) > 1) == (width_m > 400)
        for sheet in drawing.sheets:
            assert sorted((sheet.width_mm, sheet.height_mm)) == paper_mm
            assert orientation == "auto" or (sheet.width_mm > sheet.height_mm) == (orientation == "landscape")


def test_a_small_map_is_shown_once_more_larger() -> None:
    """A map of 3 cm on a page of its own is enlarged to the largest whole number of times, and nothing overlaps."""
    sheet = sheet_of({}, width_m=300, height_m=300, settings=SheetSettings(paper="A4")).sheets[0]
    small, large = sheet.window, sheet.enlarged
    assert large is not None
    assert sheet.factor == 3
    assert large.width == pytest.approx(3 * small.width)
    assert large.height == pytest.approx(3 * small.height)
    assert large.top < small.bottom or large.left > small.right
    for column in sheet.columns:
        assert large.right < column.left or large.bottom > column.top
    assert sheet_of({}, width_m=1700, height_m=1000).sheets[0].enlarged is None


def test_picture_of_an_overview_may_be_finer() -> None:
    """The overview is rendered more finely to make up for its reduction, up to the most pixels allowed."""
    single = sheet_of({})
    assert map_resolution_dpi(single, dpi=300, largest_image_mpx=60) == 300
    overview = sheet_of({}, width_m=6000, height_m=5000)
    fine = map_resolution_dpi(overview, dpi=300, largest_image_mpx=400)
    assert fine == pytest.approx(300 / overview.sheets[0].magnify)
    bounded = map_resolution_dpi(overview, dpi=300, largest_image_mpx=30)
    assert 300 < bounded < fine
    assert (bounded / 25.4) ** 2 * 297 * 420 == pytest.approx(30e6)


def test_pictures_of_single_and_several_sheets() -> None:
    """The map of a single sheet is cut from its page; that of an overview is finer than its page."""
    single = sheet_of({})
    page, cut, transform = sheet_pictures(single, settings=SheetSettings(resolution_dpi=150))
    assert page.shape[0] > cut.shape[0]
    assert transform == map_picture(single, page)[1]
    overview = sheet_of({}, width_m=6000, height_m=5000)
    settings = SheetSettings(resolution_dpi=100, largest_image_mpx=5)
    page, cut, transform = sheet_pictures(overview, settings=settings)
    corner = transform @ (0, 0)
    pixel_m = math.hypot(transform.a, transform.d)
    assert pixel_m < 25.4 / 100 / 1000 * 10000 / overview.sheets[0].magnify * 0.9
    assert math.dist(corner, transform @ (cut.shape[1], 0)) == pytest.approx(cut.shape[1] * pixel_m)
    assert cut.shape[0] * cut.shape[1] < 5e6


@given(heights=st.lists(st.floats(1, 40), min_size=1, max_size=30), n=st.integers(1, 4))
@hypothesis_settings(deadline=None, max_examples=50)
def test_columns_hold_every_item_in_order(heights: list[float], n: int) -> None:
    """The lowest height holds all items in so many columns, and a smaller one does not."""
    height = lowest_height(heights, n)
    columns = flow(heights, height)
    assert [index for column in columns for index in column] == list(range(len(heights)))
    assert len(columns) <= n
    assert all(sum(heights[i] for i in column) <= height + 1e-3 for column in columns)
    assert height - 0.01 < max(heights) or len(flow(heights, height - 0.01)) > n


@pytest.mark.parametrize("scale", [5000, 7500, 10000, 15000, 40000])
def test_scale_bar_is_round_and_fits(scale: int) -> None:
    """The bar is between half and the whole of the room it may take."""
    length_mm = bar_length_m(scale) * 1000 / scale
    assert 25 <= length_mm <= 50


# ---------------------------------------------------------------- what is drawn


def test_legend_lists_what_is_on_the_sheet() -> None:
    """Each symbol once, by number; the white forest, north lines and sheet edge are explained too."""
    layers = {
        "rock_point": features(("205", Point(EAST + 100, NORTH + 100)), ("204", Point(EAST + 150, NORTH + 100))),
        "landform_line": features(("101", LineString([(EAST, NORTH + 50), (EAST + 500, NORTH + 60)]))),
    }
    assert sheet_of(layers).symbols == ("101", "204", "205", "405", "601", "600")


def test_no_white_forest_where_everything_is_covered() -> None:
    """Forest is not in the legend of an area that is all open land."""
    layers = {"vegetation_area": features(("401", box(EAST, NORTH, EAST + 600, NORTH + 500)))}
    assert "405" not in sheet_of(layers).symbols


def test_rejected_features_are_left_out() -> None:
    """What the mapper rejected is not drawn again."""
    table = features(("205", Point(EAST + 100, NORTH + 100)), ("109", Point(EAST + 150, NORTH + 100)))
    table["status"] = ["rejected", "confirmed"]
    assert sheet_of({"rock_point": table}).symbols == ("109", "405", "601", "600")


def test_candidates_are_printed_once_they_are_confirmed() -> None:
    """A cairn, a hut, a stand, a yard and sand stay off the paper until a mapper has looked, then have a legend."""
    yard, sand = box(EAST + 40, NORTH + 40, EAST + 80, NORTH + 80), box(EAST + 90, NORTH + 40, EAST + 130, NORTH + 80)
    points = [(symbol, Point(EAST + 40 + 30 * n, NORTH + 110)) for n, symbol in enumerate(("526", "530", "531"))]
    table = features(*points, ("501", yard), ("213", sand))
    new = {"213", "501", "526", "530", "531"}
    assert not new & set(sheet_of({"a": table.assign(status="candidate")}).symbols)
    assert new <= set(sheet_of({"a": table.assign(status="confirmed")}).symbols)


def test_empty_layers_make_a_sheet() -> None:
    """A draft without any feature still has a sheet with its north lines."""
    drawing = sheet_of({"rock_point": features()})
    assert drawing.symbols == ("405", "601", "600")
    assert drawing.pdf.startswith(b"%PDF")


def test_features_without_a_place_are_left_out() -> None:
    """Empty and missing geometries of an edited draft do no harm."""
    table = features(("204", Point()), ("109", Point(EAST + 150, NORTH + 100)), ("205", Point(EAST, NORTH)))
    table.loc[2, "geometry"] = None
    assert sheet_of({"rock_point": table}).symbols == ("109", "405", "601", "600")


@pytest.mark.parametrize("room_mm", [60.0, 90.0, 150.0])
def test_long_names_are_made_to_fit(room_mm: float) -> None:
    """A long name is set smaller, and a very long one is cut, until it fits its room."""
    for name in ("Edge", "The High Moor above the Old Quarries", "On " * 60):
        fitted, size = fitted_name(name, room_mm=room_mm)
        assert text_width_mm(fitted, size_pt=size, face=BOLD) <= room_mm + 1e-6
        assert size <= 15
    assert fitted_name("Edge", room_mm=room_mm) == ("Edge", 15.0)


def test_unknown_symbol_is_refused() -> None:
    """A symbol that the table does not know cannot be drawn in silence."""
    with pytest.raises(KeyError, match="998"):
        sheet_of({"rock_point": features(("998", Point(EAST + 100, NORTH + 100)))})


def test_same_draft_is_the_same_file() -> None:
    """Two drawings of one draft are equal to the last byte, in whatever order the features come."""
    marks = [("210", box(EAST + 50, NORTH + 50, EAST + 200, NORTH + 150)), ("204", Point(EAST + 300, NORTH + 100))]
    first = sheet_of({"a": features(*marks)})
    assert first.pdf == sheet_of({"a": features(*marks)}).pdf
    assert (
        render_png(first.pdf, dpi=100).tobytes()
        == render_png(sheet_of({"a": features(*marks[::-1])}).pdf, dpi=100).tobytes()
    )


def test_names_in_any_script_are_printed() -> None:
    """A name with letters the typeface lacks is printed in another, and the sheet is made."""
    drawing = draw_sheet(
        {},
        symbols=TABLE,
        name="Żdźarski Młýn 森",
        outline=box(EAST, NORTH, EAST + 300, NORTH + 300),
        crs=UTM32,
        scale=10000,
        contour_interval_m=2.5,
        map_date=SPRING,
        survey_line="Invented.",
        settings=SETTINGS,
    )
    assert drawing.pdf.startswith(b"%PDF")


def test_page_without_such_number_is_refused() -> None:
    """A page the sheet does not have is an error."""
    with pytest.raises(IndexError, match="1 pages"):
        render_png(sheet_of({}).pdf, dpi=72, page=1)


def drawn(
    number: str, *geometry: BaseGeometry, turn_deg: float = math.nan, anchor: tuple[float, float] = (0, 0)
) -> Ink:
    """Ink of a symbol drawn at 1:15 000, millimetres as in the norm."""
    ink = Ink()
    array = np.array(geometry, object)
    kind = KIND_OF_GEOMETRY[geometry[0].geom_type]
    nothing = np.full(len(array), np.nan)
    draw_marks(ink, Marks(TABLE[number], kind, array, np.full(len(array), turn_deg), nothing, 1.0, anchor))
    return ink


def vertices(ink: Ink, plate: Plate) -> NDArray[np.float64]:
    """Every point of the paths of a plate."""
    found = re.findall(r"(-?[\d.]+) (-?[\d.]+) [mlc]\n", ink.text_of(plate))
    return np.array(found, np.float64)


@pytest.mark.parametrize(("number", "plate"), [("201", Plate.BLACK), ("202", Plate.BLACK), ("104", Plate.BROWN)])
def test_tags_point_downhill(number: str, plate: Plate) -> None:
    """The higher ground is on the left of the line: going east the tags hang to the south, half a millimetre long."""
    ink = drawn(number, LineString([(0, 0), (5, 0)]))
    points = vertices(ink, plate)
    symbol = TABLE[number]
    reach = symbol.mm("tag_length_mm") + symbol.mm("line_mm") / 2
    assert points[:, 1].max() == 0
    assert points[:, 1].min() == pytest.approx(-reach, abs=1e-3)
    assert np.count_nonzero(points[:, 1] < -0.1) == pytest.approx(5 / symbol.mm("tag_spacing_mm") + 1, abs=1)


@pytest.mark.parametrize("number", ["201", "202", "104"])
@pytest.mark.parametrize(("length_mm", "tags"), [(0.6, 1), (1.0, 2), (1.5, 3), (2.0, 4)])
def test_short_tagged_lines_do_not_read_as_letters(number: str, length_mm: float, tags: int) -> None:
    """A bracket or an E has strokes at its ends; the tags of a short cliff stand inside them, evenly."""
    points = vertices(drawn(number, LineString([(0, 0), (length_mm, 0)])), PLATES[TABLE[number].ink])
    tips = np.sort(points[points[:, 1] < -0.1, 0])
    assert tips == pytest.approx((np.arange(tags) + 0.5) * length_mm / tags, abs=1e-3)


@pytest.mark.parametrize("number", ["201", "202", "104"])
def test_tags_close_a_long_line(number: str) -> None:
    """From six tags on the first and the last lie flush with the ends of the line."""
    points = vertices(drawn(number, LineString([(0, 0), (2.5, 0)])), PLATES[TABLE[number].ink])
    tips, half_tag = points[points[:, 1] < -0.1, 0], TABLE[number].mm("tag_mm") / 2
    assert len(tips) == 6
    assert [tips.min(), tips.max()] == pytest.approx([half_tag, 2.5 - half_tag], abs=1e-3)


def test_elongated_knoll_turns_clockwise_from_north() -> None:
    """An angle of 90 degrees lays the long axis east to west, 0 degrees north to south."""
    upright = vertices(drawn("110", Point(0, 0), turn_deg=0), Plate.BROWN)
    lying = vertices(drawn("110", Point(0, 0), turn_deg=90), Plate.BROWN)
    leaning = vertices(drawn("110", Point(0, 0), turn_deg=45), Plate.BROWN)
    assert np.ptp(upright, axis=0) == pytest.approx([0.4, 0.8], abs=2e-3)
    assert np.ptp(lying, axis=0) == pytest.approx([0.8, 0.4], abs=2e-3)
    far = leaning[np.argmax(leaning @ (1, 1))]
    assert far.min() > 0.2


@given(length=st.floats(1, 80), dash=st.floats(0.5, 3), gap=st.floats(0.1, 0.5))
@hypothesis_settings(deadline=None, max_examples=60)
def test_dashed_lines_end_with_whole_dashes(length: float, dash: float, gap: float) -> None:
    """Dashes and gaps are stretched alike so that both ends of a line are dashes."""
    line = np.array([LineString([(0, 0), (length, 0)])], object)
    ((fitted_dash, fitted_gap),) = fitted_dashes(line, dash_mm=dash, gap_mm=gap)
    n = (length + fitted_gap) / (fitted_dash + fitted_gap)
    assert n == pytest.approx(round(n), abs=1e-6)
    assert fitted_dash / fitted_gap == pytest.approx(dash / gap)


def test_stations_know_right_from_left() -> None:
    """Along a line to the north the right hand is east."""
    line = np.array([LineString([(0, 0), (0, 10)])], object)
    at = stations(line, evenly(line, spacing_mm=2.0, ends=True))
    assert at.places[:, 1] == pytest.approx([0, 2, 4, 6, 8, 10])
    assert at.right == pytest.approx(np.tile([1.0, 0.0], (6, 1)))


@pytest.mark.parametrize("number", ["113", "114", "208", "209", "210", "211", "212"])
def test_scattered_marks_keep_the_distance_and_density_of_the_norm(number: str) -> None:
    """No two marks are nearer than the least spacing, also across the edges of the repeating tile."""
    symbol = TABLE[number]
    spacing, density = symbol.mm("spacing_mm"), symbol.mm("density_per_mm2")
    tile = scattered_tile(round(density * spacing**2, 3)) * spacing
    side = 16 * spacing
    nearest = cKDTree(tile, boxsize=[side, side]).query(tile, k=2)[0][:, 1]
    assert nearest.min() >= 0.995 * spacing
    assert len(tile) / side**2 == pytest.approx(density, rel=0.02)


@pytest.mark.parametrize(("number", "least"), [("210", 3), ("208", 2), ("113", 3)])
def test_small_areas_get_the_least_number_of_marks(number: str, least: int) -> None:
    """A small stony area shows at least as many marks as the norm asks for."""
    smallest = math.sqrt(TABLE[number].mm("min_area_mm2"))
    plate = Plate.BROWN if number == "113" else Plate.BLACK
    for shift in np.linspace(0, 3, 12):
        ink = drawn(number, box(shift, 0, shift + smallest, smallest))
        assert ink.text_of(plate).count("h\n") >= least


def test_marks_stay_inside_their_area() -> None:
    """No dot of stony ground reaches over the edge of the area, and none falls in a hole."""
    hole = box(4, 4, 6, 6)
    points = vertices(drawn("211", box(0, 0, 10, 10).difference(hole)), Plate.BLACK)
    assert points.min() >= -1e-3
    assert points.max() <= 10 + 1e-3
    in_hole = ((points > 4.001) & (points < 5.999)).all(axis=1)
    assert len(points) > 1000
    assert not in_hole.any()


@pytest.mark.parametrize(
    ("number", "plate"), [("210", Plate.BLACK), ("402", Plate.DOTS_IN_YELLOW), ("407", Plate.GREEN)]
)
def test_patterns_do_not_move_when_the_outline_grows(number: str, plate: Plate) -> None:
    """A map that begins further west draws the same pattern at the same ground."""
    near = vertices(drawn(number, box(5, 5, 25, 25), anchor=(1000.0, 2000.0)), plate)
    far = vertices(drawn(number, box(12.3, 9.1, 32.3, 29.1), anchor=(992.7, 1995.9)), plate)
    near_places, far_places = near + np.array([1000, 2000]), far + np.array([992.7, 1995.9])
    distance, _ = cKDTree(far_places).query(near_places)
    assert len(near) > 20
    assert distance.max() < 0.003


@pytest.mark.parametrize(("number", "plate"), [("407", Plate.GREEN), ("409", Plate.GREEN), ("308", Plate.BLUE)])
def test_no_lined_area_is_left_without_a_line(number: str, plate: Plate) -> None:
    """An area so small that it falls between two lines of the pattern gets one through its middle."""
    for shift in np.linspace(0, 1, 9):
        ink = drawn(number, box(shift, shift, shift + 0.2, shift + 0.2))
        _, _, after_clip = ink.text_of(plate).rpartition("W n\n")
        assert " l\n" in after_clip


def test_area_that_crosses_itself_is_mended() -> None:
    """A bow tie, as a slip of an editor leaves it, is drawn as its two halves."""
    bow = Polygon([(EAST, NORTH), (EAST + 200, NORTH + 200), (EAST + 200, NORTH), (EAST, NORTH + 200)])
    for number in ("401", "210", "308"):
        assert number in sheet_of({"a": features((number, bow))}).symbols


@pytest.mark.parametrize("seed", range(2))
def test_vertices_that_nobody_sees_go_and_areas_stay(seed: int) -> None:
    """Round areas of many vertices, slivers thinner than a vertex may move, a bow tie, and a closed line."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    far = 2 + rng.uniform(-0.004, 0.004, (20, 400)) + np.cos(turn * rng.integers(2, 9, (20, 1)))
    round_ones = [Polygon(np.column_stack([one * np.cos(turn), one * np.sin(turn)])) for one in far]
    slivers = [Polygon([(0, 0), (x, 0.003), (2 * x, 0)]) for x in rng.uniform(0.5, 3, 5)]
    bow = Polygon([(0, 0), (3, 3), (3, 0), (0, 2)])
    line = LineString([(0, 0), (0.005, 0.005), (0, 0.009), (0, 0)])
    shapes = np.array([*round_ones, *slivers, bow, line], object)
    simple = simplified(shapes)
    assert not shapely.is_empty(simple).any()
    assert shapely.area(simple) == pytest.approx(shapely.area(shapes), rel=0.01)
    assert shapely.get_num_coordinates(simple)[:20].max() < 0.8 * 400
    assert shapely.hausdorff_distance(simple[:20], shapes[:20]).max() <= 2 * VERTEX_TOLERANCE_MM


def test_chart_shows_every_symbol() -> None:
    """On a sheet of all symbols each leaves ink in its own cell; white forest stays white."""
    drawing = draw_chart(TABLE, scale=10000)
    picture = render_png(drawing.pdf, dpi=200)
    to_pixel = ~ground_from_pixel(drawing, picture)
    empty = []
    for index, (number, kind) in enumerate(chart_entries(TABLE)):
        middle = cell_of(index).centroid
        column, row = (round(float(at)) for at in to_pixel @ (middle.x, middle.y))
        reach = 4 if kind == "point" else 30
        patch = picture[row - reach : row + reach, column - reach : column + reach]
        if patch.min() > 235:
            empty.append(number)
    assert empty == ["405"]
    assert set(drawing.symbols) == set(TABLE.rows)


def test_holes_stay_open() -> None:
    """A clearing in a thicket stays white on the sheet."""
    ring = box(EAST + 100, NORTH + 100, EAST + 300, NORTH + 300).difference(
        box(EAST + 180, NORTH + 180, EAST + 220, NORTH + 220)
    )
    drawing = sheet_of({"vegetation_area": features(("410", ring))})
    picture = render_png(drawing.pdf, dpi=200)
    to_pixel = ~ground_from_pixel(drawing, picture)
    green, white = (
        picture[int(row), int(column)] for column, row in (to_pixel @ (EAST + d, NORTH + d) for d in (140, 200))
    )
    assert green[1] > green[0] + 60
    assert white.min() > 250


def test_brown_over_green_is_darker_than_either() -> None:
    """Overprinting is simulated: an index contour through thick green darkens it."""
    green = box(EAST + 100, NORTH + 100, EAST + 300, NORTH + 300)
    contour = LineString([(EAST + 50, NORTH + 200), (EAST + 350, NORTH + 200)])
    drawing = sheet_of({"a": features(("410", green), ("102", contour))}, scale=5000)
    picture = render_png(drawing.pdf, dpi=400)
    to_pixel = ~ground_from_pixel(drawing, picture)

    def colour(east: float, north: float) -> NDArray[np.int64]:
        column, row = to_pixel @ (EAST + east, NORTH + north)
        return picture[int(row), int(column)].astype(np.int64)

    alone, thicket, both = colour(75, 200), colour(200, 150), colour(200, 200)
    assert both.sum() < alone.sum() - 60
    assert both.sum() < thicket.sum() - 60


def test_bare_rock_is_grey_on_open_land_and_on_white() -> None:
    """The same grey as in the legend wherever it lies; rock that was rejected leaves the yellow whole."""
    meadow, rock = (
        box(EAST + 100, NORTH + 100, EAST + 300, NORTH + 300),
        box(EAST, NORTH + 150, EAST + 200, NORTH + 250),
    )
    layers = {"vegetation_area": features(("401", meadow)), "rock_area": features(("214", rock))}

    def colours() -> list[list[int]]:
        drawing = sheet_of(layers)
        picture = render_png(drawing.pdf, dpi=200)
        to_pixel = ~ground_from_pixel(drawing, picture)
        at = [to_pixel @ (EAST + d, NORTH + 200) for d in (50, 150, 250)]
        return [picture[int(row), int(column)].tolist() for column, row in at]

    on_white, on_yellow, yellow = colours()
    assert on_white == on_yellow
    assert max(on_white) - min(on_white) < 15
    assert yellow[0] > yellow[2] + 60
    layers["rock_area"]["status"] = "rejected"
    assert colours()[1:] == [yellow, yellow]


def test_map_is_clipped_to_the_outline() -> None:
    """A contour that runs out of the area ends at its edge."""
    outside = LineString([(EAST - 500, NORTH + 250), (EAST + 1100, NORTH + 250)])
    drawing = sheet_of({"landform_line": features(("102", outside))})
    picture = render_png(drawing.pdf, dpi=200)
    to_pixel = ~ground_from_pixel(drawing, picture)
    column, row = to_pixel @ (EAST - 30, NORTH + 250)
    near = picture[int(row) - 4 : int(row) + 5, int(column)]
    assert near.min() > 250


def test_triangle_outline_is_drawn() -> None:
    """An outline need not be a rectangle."""
    outline = Polygon([(EAST, NORTH), (EAST + 800, NORTH), (EAST, NORTH + 800)])
    drawing = draw_sheet(
        {},
        symbols=TABLE,
        name="Wedge",
        outline=outline,
        crs=UTM32,
        scale=10000,
        contour_interval_m=5,
        map_date=SPRING,
        survey_line="Invented.",
        settings=SETTINGS,
    )
    assert drawing.frame.width_mm == pytest.approx(80, rel=0.1)
