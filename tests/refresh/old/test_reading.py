"""Earlier maps in every format, and what is said of those that cannot be used."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import ezdxf
import geopandas as gpd
import pytest
import shapely
from shapely.geometry import LineString, MultiPoint, Point, Polygon

from pipeline.draft.compose import LAYERS
from pipeline.errors import InputError
from pipeline.exports.dxf import dxf_text
from pipeline.files.earlier.number_table import read_number_table
from pipeline.norm.symbols import norm_table
from pipeline.refresh.old.old_map import ROW, OldMap
from pipeline.steps.refresh.old import Place, read_old
from tests.exports.made_draft import TOLD
from tests.refresh.edited import CRS, EAST, NORTH, draft_of, write_draft

BOUNDS = (EAST, NORTH, EAST + 600, NORTH + 600)
SHAPES = [
    Point(EAST + 1 / 3, NORTH + 1 / 7),
    LineString([(EAST, NORTH), (EAST + 50.1, NORTH + 20.2)]),
    Polygon([(EAST + 100, NORTH), (EAST + 140, NORTH), (EAST + 140, NORTH + 30), (EAST + 100, NORTH + 30)]),
]
SYMBOLS = ["204", "505", "406"]


def read(path: Path, **options: object) -> OldMap:
    """What is read of a map for an area whose folder is elsewhere."""
    return read_old(path, Place(CRS, BOUNDS, path.parent / "new" / "out"), **options)  # type: ignore[arg-type]


def made_map(
    path: Path, shapes: Sequence[object], symbols: Sequence[object], crs: str | None = CRS, **more: object
) -> Path:
    """A map of one table."""
    gpd.GeoDataFrame({"symbol": symbols, **more}, geometry=shapes, crs=crs).to_file(path)
    return path


@pytest.mark.parametrize("name", ["map.gpkg", "map.geojson"])
def test_a_map_is_read(tmp_path: Path, name: str) -> None:
    """Every feature of a map is a mapper's, in the layer of its symbol, with its own columns."""
    path = tmp_path / name
    made_map(path, SHAPES, [204, 505, 406], crs=CRS, surveyor=["A", "B", "C"])
    found = read(path)
    assert found.kind == "map"
    assert list(found.features["symbol"]) == SYMBOLS
    assert list(found.features["layer"]) == ["rock_point", "manmade_line", "vegetation_area"]
    assert list(found.given["surveyor"]) == ["A", "B", "C"]
    assert list(found.given["own_symbol"]) == [204, 505, 406]
    assert found.given["is_kept"].all()
    if name == "map.gpkg":
        assert list(shapely.to_wkb(found.given.geometry.to_numpy())) == [shapely.to_wkb(shape) for shape in SHAPES]


def test_a_folder_of_shapefiles_is_read(tmp_path: Path) -> None:
    """Each shapefile of a folder is a layer of the map."""
    folder = tmp_path / "shapes"
    folder.mkdir()
    for shape, symbol in zip(SHAPES, SYMBOLS, strict=True):
        made_map(folder / f"{symbol}_x.shp", [shape], [symbol])
    assert sorted(read(folder).features["symbol"]) == sorted(SYMBOLS)


@pytest.mark.parametrize("names", [("a.gpkg", "b.gpkg"), ("a.gpkg", "a.geojson")])
def test_a_folder_of_several_maps_is_refused(tmp_path: Path, names: tuple[str, str]) -> None:
    """They would be read as one map with everything twice."""
    for name in names:
        made_map(tmp_path / name, SHAPES, SYMBOLS)
    with pytest.raises(InputError, match=r"holds several maps \(a\.(gpkg, b\.gpkg|geojson, a\.gpkg)\); name the one"):
        read(tmp_path)


def test_our_own_drawing_is_read_back(tmp_path: Path) -> None:
    """What a draft's export in DXF shows comes back: points, lines, and areas once, with their holes."""
    hole = shapely.box(EAST + 110, NORTH + 5, EAST + 120, NORTH + 15)
    rows = [("204", SHAPES[0]), ("505", SHAPES[1]), ("406", SHAPES[2].difference(hole))]
    layers = {name: table for name, table in draft_of(rows).items() if name in LAYERS and len(table)}
    text = dxf_text(layers, symbols=norm_table(), scale=10_000, crs=CRS, told=TOLD)
    path = tmp_path / "map.dxf"
    path.write_text(text, encoding="utf-8")
    found = read(path).features.sort_values("symbol", ignore_index=True)
    assert list(found["symbol"]) == ["204", "406", "505"]
    assert found.geometry[1].equals(SHAPES[2].difference(hole))
    assert found.geometry[2].equals_exact(SHAPES[1], 1e-6)


def test_blocks_are_points_and_arcs_are_lines(tmp_path: Path) -> None:
    """A drawing may name symbols by layers, and by attributes of its blocks; its frame is no symbol."""
    drawing = ezdxf.new()
    drawing.blocks.new("stone").add_circle((0, 0), 1)
    space = drawing.modelspace()
    space.add_blockref("stone", (EAST, NORTH), dxfattribs={"layer": "204"})
    space.add_arc((EAST, NORTH), 30, 0, 90, dxfattribs={"layer": "505 path"})
    space.add_lwpolyline([(EAST, NORTH), (EAST + 9, NORTH)], dxfattribs={"layer": "FRAME"})
    space.add_text("Hollin Edge", dxfattribs={"layer": "TITLE"})
    drawing.saveas(tmp_path / "map.dxf")
    found = read(tmp_path / "map.dxf", own_crs=CRS)
    assert list(found.features["symbol"]) == ["204", "505"]
    assert found.features.geometry[1].length == pytest.approx(47.12, abs=0.1)
    assert found.notes == ("1 feature without a symbol, not compared",)


def test_odd_geometry_is_mended_for_comparing_and_kept_as_it_is(tmp_path: Path) -> None:
    """What is invalid or of several parts is compared in valid single parts, and kept bit for bit."""
    crossed = Polygon([(EAST, NORTH), (EAST + 20, NORTH + 20), (EAST + 20, NORTH), (EAST, NORTH + 20)])
    shapes = [crossed, MultiPoint([(EAST, NORTH), (EAST + 9, NORTH)]), Point(EAST, NORTH, 300.5), None]
    path = made_map(tmp_path / "map.gpkg", shapes, ["406", "204", "204", "204"])
    found = read(path)
    assert found.features.is_valid.all()
    assert sorted(found.features[ROW]) == [0, 0, 1, 1, 2]
    kept = shapely.to_wkb(found.given.geometry.to_numpy()[:3])
    file = gpd.read_file(path)
    assert list(kept) == list(shapely.to_wkb(file.geometry.to_numpy()[:3]))
    assert [note.split(" ")[0] for note in found.notes] == ["1", "2", "1"]


def test_a_draft_tells_by_status_what_is_the_mappers(tmp_path: Path) -> None:
    """Of a run only what has a word of the mapper's in it is kept."""
    layers = draft_of([("204", Point(EAST + 30 * k, NORTH)) for k in range(5)])
    layers["rock_point"]["status"] = ["draft", "candidate", "confirmed", "rejected", "imported"]
    found = read(write_draft(tmp_path / "old", layers))
    assert found.kind == "run"
    assert list(found.given["is_kept"]) == [False, False, True, True, False]


def test_coordinates_in_another_system_come_with_what_they_were(tmp_path: Path) -> None:
    """A map in another system is moved for comparing, and what it was stands beside it."""
    path = tmp_path / "map.gpkg"
    gpd.GeoDataFrame({"symbol": SYMBOLS}, geometry=SHAPES, crs=CRS).to_crs("EPSG:25833").to_file(path)
    found = read(path)
    assert found.features.geometry[0].distance(SHAPES[0]) < 0.01
    own = gpd.read_file(path)
    assert list(shapely.to_wkb(found.originals["EPSG:25833"].geometry.to_numpy())) == list(
        shapely.to_wkb(own.geometry.to_numpy())
    )


def bad(tmp_path: Path, name: str) -> tuple[Path, dict[str, object]]:
    """A map that cannot be used, and the options it is read with."""
    path = tmp_path / f"{name}.gpkg"
    options: dict[str, object] = {}
    if name == "no symbols":
        gpd.GeoDataFrame({"height": [1, 2, 3]}, geometry=SHAPES, crs=CRS).to_file(path)
    elif name == "unknown":
        made_map(path, SHAPES, ["204", "999", "xx"])
    elif name == "far":
        made_map(path, [shapely.transform(shape, lambda p: p + 50_000) for shape in SHAPES], SYMBOLS)
    elif name == "other system":
        moved = gpd.GeoSeries(SHAPES, crs=CRS).to_crs("EPSG:31467")
        made_map(path, list(moved), SYMBOLS)
    elif name == "no system":
        path = path.with_suffix(".shp")
        with pytest.warns(UserWarning, match="crs"):
            made_map(path, SHAPES[:1], SYMBOLS[:1], crs=None)
    elif name == "empty":
        gpd.GeoDataFrame({"symbol": []}, geometry=[], crs=CRS).to_file(path)
    elif name == "broken":
        path.write_bytes(made_map(tmp_path / "whole.gpkg", SHAPES, SYMBOLS).read_bytes()[:2000])
    elif name == "broken drawing":
        path = path.with_suffix(".dxf")
        path.write_text("nothing", encoding="utf-8")
    elif name == "other file":
        path = path.with_suffix(".pdf")
        path.write_text("nothing", encoding="utf-8")
    elif name == "the new area":
        return write_draft(tmp_path / "new" / "out", draft_of([("204", SHAPES[0])])), {}
    return path, options


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("no symbols", "no ISOM number .*its columns: height.*--numbers"),
        ("unknown", r"2 features.*'999' \(1\), 'xx' \(1\).*--numbers"),
        ("far", r"lies \d+\.\d km from the new tiles.*coordinate system right"),
        ("other system", r"lies [\d,]+\.\d km.*DHDN .* Gauss-Kruger zone 3"),
        ("no system", "does not say its coordinate system.*--crs EPSG:25832"),
        ("empty", "holds no feature"),
        ("broken", "cannot be read as a map"),
        ("broken drawing", "cannot be read as DXF"),
        ("other file", "save it from your drawing program as"),
        ("missing", "there is no such file"),
        ("the new area", "is the new area itself"),
    ],
)
def test_what_cannot_be_used_is_said(tmp_path: Path, name: str, words: str) -> None:
    """Each message names the file and what to do, and nothing is written anywhere."""
    path, options = bad(tmp_path, name)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(InputError, match=words) as told:
        read_old(path, Place(CRS, BOUNDS, tmp_path / "new" / "out"), **options)  # type: ignore[arg-type]
    assert str(path) in str(told.value)
    assert sorted(tmp_path.rglob("*")) == before


def test_a_table_of_numbers_is_read(tmp_path: Path) -> None:
    """Commas, semicolons and names of columns are taken; an empty ISOM number keeps a feature aside."""
    path = tmp_path / "numbers.csv"
    path.write_text("\ufeffmine;isom\n1004;204\nframe;\n12;505.0\n", encoding="utf-8")
    assert read_number_table(path, norm_table()) == {"1004": "204", "frame": "", "12": "505"}
    for text, words in (("1,999\n2,888\n", "line 2: '888'"), ("1,204\n1,205\n", "line 2: '1'"), ("a\n", "one column")):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match=words):
            read_number_table(path, norm_table())
