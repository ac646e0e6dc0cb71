"""The styles of the styled GeoPackage, drawn by libraries of two GIS programs and measured in the picture.

They are no needs of the project: where a Python with them is not found, the tests are skipped. Debian has them as
`python3-qgis` and `python3-mapscript`; TUSSOCK_GIS_PYTHON names the Python, /usr/bin/python3 if nothing is said.
"""

import os
import subprocess
from functools import cache
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage
from shapely.geometry import LineString, Point, box
from shapely.geometry.base import BaseGeometry

from pipeline.exports.styles.qml import qml_style
from pipeline.exports.styles.screen import screen_colour
from pipeline.exports.styles.sld import sld_style
from pipeline.files.exports.styled import write_styled
from pipeline.norm.symbols import isom
from pipeline.sheet.page.colours import tint
from tests.paths import symbols

PYTHON = os.environ.get("TUSSOCK_GIS_PYTHON", "/usr/bin/python3")
SCRIPT = Path(__file__).with_name("gis_render.py")
WEST, SOUTH, SIDE_M = 600_000.0, 5_300_000.0, 200.0
PIXELS = 1000
PIXEL_M = SIDE_M / PIXELS
NORTH_DEG = 10.0
LAYERS = ("landform_point", "rock_point", "rock_line", "landform_line", "vegetation_area")
Rgb = NDArray[np.float64]


def at(right_m: float, up_m: float) -> tuple[float, float]:
    """A place counted from the lower left corner of the picture."""
    return WEST + right_m, SOUTH + up_m


def across(up_m: float) -> LineString:
    """A line from left to right."""
    return LineString([at(20, up_m), at(180, up_m)])


MARKS: dict[str, list[tuple[str, str, BaseGeometry]]] = {
    "landform_line": [
        ("102", "draft", across(180)),
        ("102", "candidate", across(165)),
        ("102", "rejected", across(150)),
    ],
    "rock_line": [("201", "draft", across(135))],
    "rock_point": [
        ("205", "draft", Point(at(30, 100))),
        ("205", "candidate", Point(at(60, 100))),
        ("205", "rejected", Point(at(90, 100))),
    ],
    "landform_point": [("110", "draft", Point(at(130, 100)))],
    "vegetation_area": [
        ("408", "draft", box(*at(20, 20), *at(80, 80))),
        ("407", "draft", box(*at(110, 20), *at(170, 80))),
    ],
}


def styled(path: Path) -> None:
    """A styled GeoPackage of these marks; the knoll points to 30 degrees from magnetic north."""
    tables = {}
    for name in LAYERS:
        number, status, place = zip(*MARKS[name], strict=True)
        columns = {"symbol": number, "status": status, "angle_deg": [30.0] * len(place)}
        tables[name] = gpd.GeoDataFrame(columns, geometry=list(place), crs="EPSG:25832")
    styles = {name: (symbols(), NORTH_DEG) for name in LAYERS}
    write_styled(
        path,
        tables,
        qml={name: qml_style(name, symbols=table, north_deg=north) for name, (table, north) in styles.items()},
        sld={name: sld_style(name, symbols=table, north_deg=north) for name, (table, north) in styles.items()},
        told={},
        style_name="ISOM 2017-2",
        description="",
    )


@cache
def has(module: str) -> bool:
    """Whether the other Python can import a library."""
    try:
        return subprocess.run([PYTHON, "-c", f"import {module}"], capture_output=True, check=False).returncode == 0
    except OSError:
        return False


def rendered(folder: Path, kind: str, *, turn_deg: float = 0.0) -> Rgb:
    """The picture, rows from the north, (1000, 1000, 3); skipped where the library is missing."""
    module = {"qml": "qgis.core", "sld": "mapscript"}[kind]
    if not has(module):
        pytest.skip(f"{PYTHON} has no {module}")
    source, out = folder / "styled.gpkg", folder / "drawn.png"
    styled(source)
    words = [kind, source, out, WEST, SOUTH, WEST + SIDE_M, SOUTH + SIDE_M, PIXELS, turn_deg, *LAYERS]
    subprocess.run([PYTHON, SCRIPT, *map(str, words)], check=True, capture_output=True, timeout=300)
    return np.array(Image.open(out).convert("RGB"), float)


def part(picture: Rgb, left_m: float, bottom_m: float, right_m: float, top_m: float) -> Rgb:
    """A rectangle of the picture, metres from its lower left corner."""
    rows = slice(PIXELS - round(top_m / PIXEL_M), PIXELS - round(bottom_m / PIXEL_M))
    return picture[rows, round(left_m / PIXEL_M) : round(right_m / PIXEL_M)]


def rgb(colour: str, percent: float = 100.0) -> Rgb:
    """A colour of the norm on a screen."""
    text = screen_colour(tint(colour, percent))
    return np.array([int(text[place : place + 2], 16) for place in (1, 3, 5)], float)


def cover(picture: Rgb, colour: Rgb) -> Rgb:
    """How much of each pixel a colour covers on white, 0 to 1."""
    way = 255.0 - colour
    return np.clip((255.0 - picture) @ way / (way @ way), 0.0, 1.0)


def width_m(picture: Rgb, colour: Rgb, up_m: float) -> float:
    """Mean width of a line across the picture that is drawn in a colour."""
    return float(cover(part(picture, 60, up_m - 6, 140, up_m + 6), colour).sum(axis=0).mean() * PIXEL_M)


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["qml", "sld"])
def test_lines_and_dots_have_the_norms_size_and_colour(tmp_path: Path, kind: str) -> None:
    """Index contour 0.25 mm, large boulder 0.6 mm at 1:15 000 (ISOM 2017-2); what was rejected is not drawn."""
    picture = rendered(tmp_path, kind)
    assert width_m(picture, rgb("brown"), 180) == pytest.approx(isom("102").ground_m("line_mm"), rel=0.08)
    assert np.abs(part(picture, 99, 179.5, 101, 180.5) - rgb("brown")).max() < 3
    assert part(picture, 20, 145, 180, 155).min() == 255
    black = cover(part(picture, 15, 85, 45, 115), rgb("black")).sum() * PIXEL_M**2
    wanted = isom("205").ground_m("dot_mm") if kind == "qml" else 2 * drawn_circle_radius_m()
    assert 2 * np.sqrt(black / np.pi) == pytest.approx(wanted, rel=0.08)
    assert part(picture, 75, 85, 105, 115).min() == 255
    assert np.abs(part(picture, 45, 45, 55, 55) - rgb("green", 60)).max() < 3


def drawn_circle_radius_m() -> float:
    """Radius of the plain circle that stands in for a dot where drawings cannot be read: the whole drawing's height."""
    return (2 / 3 * isom("205").mm("length_mm") + 0.05) * 15


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["qml", "sld"])
def test_candidates_are_thin_and_pale(tmp_path: Path, kind: str) -> None:
    """Their lines cover less than a third of what drawn ones do, and no pixel of theirs is as dark."""
    picture = rendered(tmp_path, kind)
    drawn, proposed = (width_m(picture, rgb("brown"), up_m) for up_m in (180, 165))
    assert 0.1 < proposed / drawn < 0.35
    assert part(picture, 45, 85, 75, 115).min() > part(picture, 15, 85, 45, 115).min() + 60


@pytest.mark.slow
def test_tags_of_a_cliff_fall_to_the_right_of_its_line(tmp_path: Path) -> None:
    """The line runs east, so its tags lie to the south, as many as their spacing says."""
    picture = rendered(tmp_path, "qml")
    half_m = isom("201").ground_m("line_mm") / 2
    below = cover(part(picture, 22, 135 - half_m - 5, 178, 135 - half_m - 2), rgb("black")).mean(axis=0) > 0.5
    above = cover(part(picture, 22, 135 + half_m + 2, 178, 135 + half_m + 5), rgb("black"))
    n_tags = ndimage.label(below)[1]
    assert n_tags == pytest.approx(156 / isom("201").ground_m("tag_spacing_mm"), abs=1.5)
    assert above.max() < 0.05


@pytest.mark.slow
@pytest.mark.parametrize("turn_deg", [0.0, -NORTH_DEG])
def test_a_knoll_points_as_its_angle_says(tmp_path: Path, turn_deg: float) -> None:
    """30 degrees from magnetic north, which lies 10 degrees clockwise from grid north; with magnetic north up, 30."""
    picture = rendered(tmp_path, "qml", turn_deg=turn_deg)
    middle = np.array([130.0, 100.0]) - SIDE_M / 2
    turn = np.radians(-turn_deg)
    right, up = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ middle + SIDE_M / 2
    brown = cover(part(picture, right - 9, up - 9, right + 9, up + 9), rgb("brown"))
    rows, cols = np.nonzero(brown > 0.5)
    ((xx, xy), (_, yy)) = np.cov(cols, -rows)
    clockwise_deg = 90 - np.degrees(0.5 * np.arctan2(2 * xy, xx - yy))
    assert clockwise_deg == pytest.approx(30 + NORTH_DEG + turn_deg, abs=2)


@pytest.mark.slow
def test_lines_of_a_pattern_run_to_magnetic_north(tmp_path: Path) -> None:
    """Turned so that magnetic north is up, the lines of 407 are upright and 0.84 mm apart (ISOM 2017-2, 407)."""
    picture = rendered(tmp_path, "qml", turn_deg=-NORTH_DEG)
    middle = np.array([140.0, 50.0]) - SIDE_M / 2
    turn = np.radians(NORTH_DEG)
    right, up = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ middle + SIDE_M / 2
    inside = cover(part(picture, right - 18, up - 18, right + 18, up + 18), rgb("green"))
    columns = inside.mean(axis=0)
    assert columns.max() > 0.85
    assert columns.min() < 0.05
    lines = ndimage.label(columns > 0.5)
    centres = np.array(ndimage.center_of_mass(columns, lines[0], range(1, lines[1] + 1)))[:, 0] * PIXEL_M
    assert np.diff(centres).mean() == pytest.approx(isom("407").ground_m("spacing_mm"), rel=0.03)
