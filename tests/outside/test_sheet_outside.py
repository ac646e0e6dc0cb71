"""The field sheet measured with another program's reader: pdfplumber takes the vector paths out of the PDF."""

import datetime
import io
import json
import math
import re
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pikepdf
import pyproj
import pytest
from affine import Affine
from pygeomag import GeoMag
from pygeomag.wmm.wmm_2025 import WMM_2025
from shapely.geometry import LineString, Point, box

from pipeline.features import make_features
from pipeline.settings import SheetSettings
from pipeline.sheet.drawing import SheetDrawing, draw_sheet
from pipeline.sheet.marginalia import bar_length_m
from pipeline.sheet.texts import Told
from tests.paths import symbols

pdfplumber = pytest.importorskip("pdfplumber", reason="measuring the PDF needs pdfplumber: install tussock[test]")

TABLE = symbols()
CRS = "EPSG:25832"
EAST, NORTH = 600_000.0, 5_300_000.0
MM = 25.4 / 72
PAPERS_MM = {(148, 210), (210, 297), (297, 420)}
"""A5, A4, A3. Source: ISO 216."""
ISOM_CMYK = {
    "black": (0, 0, 0, 100),
    "brown": (0, 56, 100, 18),
    "yellow": (0, 27, 79, 0),
    "blue": (87, 18, 0, 0),
    "green": (76, 0, 91, 0),
}
"""Source: IOF Map Commission, ISOM 2000, colour table (process colours); ISOM 2017-2 is believed to keep them."""


def kilometre_sheet(scale: int) -> SheetDrawing:
    """A sheet with a contour of exactly 1000 m of grid, a boulder, and areas of every tint."""
    line = LineString([(EAST + 200, NORTH + 300), (EAST + 1200, NORTH + 300)])
    marks = [
        ("101", line),
        ("205", Point(EAST + 700, NORTH + 700)),
        ("401", box(EAST + 100, NORTH + 500, EAST + 200, NORTH + 600)),
        ("403", box(EAST + 250, NORTH + 500, EAST + 350, NORTH + 600)),
        ("406", box(EAST + 400, NORTH + 500, EAST + 500, NORTH + 600)),
        ("408", box(EAST + 550, NORTH + 500, EAST + 650, NORTH + 600)),
        ("410", box(EAST + 700, NORTH + 500, EAST + 800, NORTH + 600)),
        ("302", box(EAST + 850, NORTH + 500, EAST + 950, NORTH + 600)),
        ("214", box(EAST + 1000, NORTH + 500, EAST + 1100, NORTH + 600)),
    ]
    table = make_features([g for _, g in marks], crs=CRS, symbol=[s for s, _ in marks], confidence=1.0, evidence="")
    return draw_sheet(
        {"features": table},
        symbols=TABLE,
        name="Hollin Edge",
        outline=box(EAST, NORTH, EAST + 1400, NORTH + 900),
        crs=CRS,
        scale=scale,
        contour_interval_m=5,
        map_date=datetime.date(2027, 4, 10),
        survey_line="Invented survey.",
        settings=SheetSettings(),
    )


@pytest.fixture(scope="module", params=[10000, 15000, 7500])
def measured(request: pytest.FixtureRequest):
    """Scale, drawing, and the first page as pdfplumber reads it."""
    drawing = kilometre_sheet(request.param)
    with pdfplumber.open(io.BytesIO(drawing.pdf)) as document:
        yield request.param, drawing, document.pages[0]


def ends(path) -> tuple[np.ndarray, np.ndarray]:
    """First and last point of a path, millimetres."""
    points = np.array(path["pts"]) * MM
    return points[0], points[-1]


def contour_of(page) -> dict:
    """The longest brown line of the page."""
    brown = tuple(part / 100 for part in ISOM_CMYK["brown"])
    lines = [path for path in page.lines + page.curves if path["stroke"] and path["stroking_color"] == brown]
    return max(lines, key=lambda path: math.dist(*ends(path)))


def test_page_is_a_paper_size(measured) -> None:
    """The page has a size of ISO 216."""
    _, _, page = measured
    assert tuple(sorted((round(page.width * MM), round(page.height * MM)))) in PAPERS_MM


def test_a_kilometre_measures_what_the_scale_says(measured) -> None:
    """A known distance on the ground, measured on the paper, is right to a thousandth (the grid's own scale error)."""
    scale, _, page = measured
    length_mm = math.dist(*ends(contour_of(page)))
    assert length_mm == pytest.approx(1_000_000 / scale, rel=1e-3)


def test_scale_bar_is_as_long_as_it_says(measured) -> None:
    """The printed bar, from its first to its last edge, is the length written at its end, at the printed scale."""
    scale, _, page = measured
    text = page.extract_text()
    assert f"1:{scale:,}".replace(",", " ") in text
    parts = [rect for rect in page.rects if abs(rect["height"] * MM - 1.4) < 0.01]
    right, top = max(part["x1"] for part in parts), min(part["top"] for part in parts)
    said_m = float(re.findall(r"(\d+) m", page.crop((right - 30, top - 12, right + 30, top)).extract_text())[0])
    bar_mm = (max(part["x1"] for part in parts) - min(part["x0"] for part in parts)) * MM
    assert len(parts) == 5
    assert said_m == bar_length_m(scale)
    assert bar_mm == pytest.approx(said_m * 1000 / scale, abs=0.02)
    assert bar_mm / math.dist(*ends(contour_of(page))) == pytest.approx(said_m / 1000, rel=2e-3)


def test_lines_and_dots_have_the_norms_size_enlarged(measured) -> None:
    """A contour is 0.14 mm and a large boulder 0.6 mm at 1:15 000 (ISOM), half as much again at 1:10 000."""
    scale, _, page = measured
    assert contour_of(page)["linewidth"] * MM == pytest.approx(0.14 * 15000 / scale, abs=0.001)
    black = (0, 0, 0, 1)
    dots = [c for c in page.curves if c["fill"] and c["non_stroking_color"] == black and c["x1"] - c["x0"] < 6]
    widths = [(dot["x1"] - dot["x0"]) * MM for dot in dots]
    assert max(widths) == pytest.approx(0.6 * 15000 / scale, rel=0.01)


def test_north_lines_are_upright_and_300_m_apart(measured) -> None:
    """North lines (ISOM 601) stand straight up, 20 mm apart at 1:15 000 and 30 mm at 1:10 000."""
    scale, _, page = measured
    blue = tuple(part / 100 for part in ISOM_CMYK["blue"])
    lines = [line for line in page.lines if line["stroking_color"] == blue and line["height"] * MM > 20]
    places = np.sort([line["x0"] * MM for line in lines])
    assert len(lines) >= 4
    assert all(line["width"] * MM < 0.01 for line in lines)
    assert np.diff(places) == pytest.approx([300_000 / scale] * (len(lines) - 1), abs=0.01)


@pytest.mark.parametrize(
    ("colour", "percent"),
    [
        ("yellow", 100),
        ("yellow", 50),
        ("green", 30),
        ("green", 60),
        ("green", 100),
        ("blue", 50),
        ("black", 35),
    ],
)
def test_surfaces_have_the_norms_colours(measured, colour: str, percent: float) -> None:
    """Each tint of an area is the norm's CMYK, screened; no colour of the map is RGB."""
    _, _, page = measured
    wanted = tuple(part * percent / 10_000 for part in ISOM_CMYK[colour])
    paths = page.rects + page.curves
    fills = [p["non_stroking_color"] for p in paths if p["fill"] and p["non_stroking_color"] is not None]
    assert any(len(fill) == 4 and np.allclose(fill, wanted, atol=1e-3) for fill in fills)
    assert all(len(fill) == 4 for fill in fills)


def test_plates_overprint(measured) -> None:
    """The plates are transparency groups blended by multiplying (ISO 32000-1, 11.3.5)."""
    _, drawing, _ = measured
    assert drawing.pdf.count(b"/BM /Multiply") >= 1
    assert drawing.pdf.count(b"/S /Transparency") >= 4


def test_everything_the_sheet_must_say_is_on_it(measured) -> None:
    """Scale, contour interval, norm, DRAFT, cautions, declination with model, date and place, source (ISOM 2.13)."""
    scale, drawing, page = measured
    text = " ".join(page.extract_text().split())
    for words in (
        "Hollin Edge",
        f"1:{scale:,}".replace(",", " "),
        "contour interval 5 m",
        "ISOM 2017-2",
        "DRAFT",
        "not field-checked",
        "not for navigation",
        "WMM2025, 10 Apr 2027",
        f"{drawing.north.declination_deg:.1f}° east",
        "Invented survey.",
    ):
        assert words in text, words


def test_legend_names_symbols_as_the_table_does(measured) -> None:
    """Each number in the legend stands beside its name in the symbol table, and every drawn symbol is there."""
    _, drawing, page = measured
    words = page.extract_text()
    assert {"101", "205", "401", "403", "406", "408", "410", "302", "214", "601"} <= set(drawing.symbols)
    for number in drawing.symbols:
        own = number == "600"
        said = TABLE.name_of(number) if own else f"{number} {TABLE.name_of(number)}"
        assert said[:22] in words, number
        assert f"{number} " in words or own, number
    assert "600 Sheet edge" not in words


def test_pdf_knows_where_it_lies(measured) -> None:
    """The georeference in the PDF (ISO 32000-2, 12.10) leads from the drawn contour to its ends on the ground.

    Latitudes and longitudes are taken out of the file and brought to the grid with pyproj.
    """
    _, _, page = measured
    viewport = page.page_obj.attrs["VP"][0]
    measure = viewport["Measure"]
    left, bottom, right, top = (float(edge) for edge in viewport["BBox"])
    corners = np.array(measure["GPTS"], float).reshape(4, 2)
    to_grid = pyproj.Transformer.from_crs("EPSG:4258", CRS)
    grid = np.column_stack(to_grid.transform(corners[:, 0], corners[:, 1]))
    assert measure["GCS"]["EPSG"] == 25832
    origin, up, right_up = grid[0], grid[1] - grid[0], grid[3] - grid[0]
    found = []
    for point in ends(contour_of(page)):
        # pdfplumber counts downwards from the top of the page.
        share = (point[0] / MM - left) / (right - left), (page.height - point[1] / MM - bottom) / (top - bottom)
        found.append(origin + share[0] * right_up + share[1] * up)
    assert np.array(found) == pytest.approx(np.array([[EAST + 200, NORTH + 300], [EAST + 1200, NORTH + 300]]), abs=0.5)


# ---------------------------------------------------------------- georeference, as GDAL reads it

GDALINFO = shutil.which("gdalinfo")
needs_gdal = pytest.mark.skipif(GDALINFO is None, reason="reading a PDF as GDAL does needs its command gdalinfo")
BLOCKS = ((300.0, 300.0), (3300.0, 400.0), (300.0, 2900.0), (3300.0, 2900.0), (1800.0, 1500.0))
"""Middles of black squares, metres from the corner of the area; every sheet shows at least one."""


def spread_sheet() -> SheetDrawing:
    """A sheet of several pages with black squares of 20 m at known places."""
    squares = [box(EAST + x - 10, NORTH + y - 10, EAST + x + 10, NORTH + y + 10) for x, y in BLOCKS]
    table = make_features(squares, crs=CRS, symbol=["521"] * len(squares), confidence=1.0, evidence="")
    return draw_sheet(
        {"features": table},
        symbols=TABLE,
        name="Hollin Edge",
        outline=box(EAST, NORTH, EAST + 3600, NORTH + 3200),
        crs=CRS,
        scale=10000,
        contour_interval_m=5,
        map_date=datetime.date(2027, 4, 10),
        survey_line="Invented survey.",
        settings=SheetSettings(paper="A4"),
        told=Told(datetime.date(2026, 11, 28)),
    )


def gdal_transform(path: Path, page: int) -> tuple[Affine, tuple[int, int], int]:
    """The transform from pixel to ground that GDAL finds for a page, its size in pixels, and the EPSG number."""
    run = subprocess.run(
        [str(GDALINFO), "-json", f"PDF:{page}:{path}"], capture_output=True, text=True, check=True, timeout=60
    )
    told = json.loads(run.stdout)
    crs = pyproj.CRS.from_wkt(told["coordinateSystem"]["wkt"])
    return Affine.from_gdal(*told["geoTransform"]), tuple(told["size"]), crs.to_epsg()


@needs_gdal
def test_gdal_finds_every_page_in_its_place(tmp_path: Path) -> None:
    """On every page, squares found by pdfplumber and brought to the ground by GDAL lie within a metre of their place.

    North as GDAL sees it, the way up the page, is that of the magnetic model within a tenth of a degree, the bearing
    being that of the geodesic on the ellipsoid.
    """
    drawing = spread_sheet()
    path = tmp_path / "sheet.pdf"
    path.write_bytes(drawing.pdf)
    known = np.array(BLOCKS) + np.array([EAST, NORTH])
    seen: set[int] = set()
    with pdfplumber.open(path) as document:
        assert len(document.pages) > 4
        for number, page in enumerate(document.pages, 1):
            transform, (columns, rows), epsg = gdal_transform(path, number)
            assert epsg == 25832
            for middle in black_squares(page, side_mm=2.0 * drawing.sheets[number - 1].magnify):
                pixel = middle[0] / float(page.width) * columns, middle[1] / float(page.height) * rows
                apart = np.hypot(*(known - transform @ pixel).T)
                assert apart.min() < 1.0
                seen.add(int(apart.argmin()))
            north_deg = declination_there(transform, columns, rows)
            assert bearing_up(transform, columns, rows) == pytest.approx(north_deg, abs=0.1)
    assert seen == set(range(len(BLOCKS)))


def black_squares(page, side_mm: float) -> list[tuple[float, float]]:
    """Middles of the filled black squares of a size, points from the upper left of the page."""
    black = [s for s in page.rects + page.curves if s["fill"] and s["non_stroking_color"] == (0, 0, 0, 1)]
    # A square turned by some degrees is up to a tenth wider than its side.
    found = [s for s in black if all(side_mm * 0.95 < s[key] * MM < side_mm * 1.15 for key in ("width", "height"))]
    return [((shape["x0"] + shape["x1"]) / 2, (shape["top"] + shape["bottom"]) / 2) for shape in found]


def bearing_up(transform: Affine, columns: int, rows: int) -> float:
    """Bearing of the way up the page from true north, degrees, on the ellipsoid."""
    to_degrees = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    low = to_degrees.transform(*(transform @ (columns / 2, rows / 2 + 200)))
    high = to_degrees.transform(*(transform @ (columns / 2, rows / 2 - 200)))
    return pyproj.Geod(ellps="GRS80").inv(*low, *high)[0]


def declination_there(transform: Affine, columns: int, rows: int) -> float:
    """The declination of the World Magnetic Model in the middle of the page."""
    to_degrees = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    longitude, latitude = to_degrees.transform(*(transform @ (columns / 2, rows / 2)))
    # 10 April is day 99 of 365 after New Year.
    return GeoMag(coefficients_data=WMM_2025).calculate(glat=latitude, glon=longitude, alt=0, time=2027 + 99 / 365).d


def test_file_says_what_it_is_and_when_it_was_made() -> None:
    """Title, author and day of the file, as pikepdf reads them."""
    with pikepdf.open(io.BytesIO(spread_sheet().pdf)) as document:
        told = {key: str(value) for key, value in document.docinfo.items()}
    assert told["/Title"] == "Hollin Edge, draft at 1:10000"
    assert "Tussock" in told["/Author"]
    assert told["/CreationDate"].startswith("D:20261128")


def test_declination_has_its_yearly_change(measured) -> None:
    """The change printed is that of the model between the day of the map and a year later, to a hundredth."""
    _, drawing, page = measured
    place = {"glat": drawing.north.latitude_deg, "glon": drawing.north.longitude_deg, "alt": 0}
    model = GeoMag(coefficients_data=WMM_2025)
    change = model.calculate(**place, time=2028 + 99 / 365).d - model.calculate(**place, time=2027 + 99 / 365).d
    text = " ".join(page.extract_text().split())
    assert f"It moves {abs(change):.2f}° {'east' if change > 0 else 'west'} a year" in text
