"""The symbol table: what it knows, what it refuses, and that everything in it can be drawn."""

from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon, box

from pipeline.errors import SettingsError
from pipeline.norm.symbols import Kind, SymbolTable, norm_table, symbol_table
from pipeline.sheet.legend import sample
from pipeline.sheet.page.colours import PLATES
from pipeline.sheet.page.ink import Ink
from pipeline.sheet.page.page import Box
from pipeline.sheet.symbols.marks import Marks
from pipeline.sheet.symbols.symbol import DRAWINGS, draw_marks
from tests.paths import PROJECT

SYMBOLS_CSV = PROJECT / "config" / "symbols.csv"
TEXT = SYMBOLS_CSV.read_text(encoding="utf-8")
TABLE = symbol_table(TEXT)
NOTHING = np.array([np.nan])
DRAWN = [(number, kind) for number, symbol in TABLE.rows.items() for kind in symbol.kinds]


@pytest.fixture
def table() -> SymbolTable:
    """The project's symbol table."""
    return norm_table()


def test_names_are_the_standards(table: SymbolTable) -> None:
    """A number is answered with the standard's name."""
    assert table.name_of("101") == "Contour"
    assert table.name_of("207") == "Boulder cluster"
    assert table.name_of("101.1") == "Slope line"


def test_unlisted_sub_number_is_taken_for_its_main_number(table: SymbolTable) -> None:
    """416.1, which the table does not list, is drawn and named like 416; an own row wins."""
    assert "416.1" not in table.rows
    assert table.name_of("416.1") == "Distinct vegetation boundary"
    assert table["508.1"].fill == "yellow"
    assert table["508"].fill == ""


def test_unknown_symbol_is_refused(table: SymbolTable) -> None:
    """A number the norm does not have is an error that names it."""
    with pytest.raises(KeyError, match="999"):
        table.name_of("999")
    assert "999" not in table


@pytest.mark.parametrize(
    ("number", "geometry", "layer"),
    [
        ("101", LineString([(0, 0), (1, 1)]), "landform_line"),
        ("109", Point(0, 0), "landform_point"),
        ("204", Point(0, 0), "rock_point"),
        ("210", box(0, 0, 1, 1), "rock_area"),
        ("305", LineString([(0, 0), (1, 1)]), "water_line"),
        ("406", Polygon([(0, 0), (1, 0), (1, 1)]), "vegetation_area"),
        ("508.1", LineString([(0, 0), (1, 1)]), "manmade_line"),
        ("523", Point(0, 0), "manmade_point"),
        ("523", box(0, 0, 1, 1), "manmade_area"),
        ("601", LineString([(0, 0), (1, 1)]), "technical_line"),
    ],
)
def test_layer_follows_from_section_and_geometry(table: SymbolTable, number: str, geometry, layer: str) -> None:
    """The layer of the draft is the norm's section and the kind of geometry."""
    assert table.layer_of(number, geometry) == layer


def test_wrong_geometry_is_refused(table: SymbolTable) -> None:
    """A contour cannot be a point."""
    with pytest.raises(ValueError, match="101 is drawn as line, not as Point"):
        table.layer_of("101", Point(0, 0))


def test_smallest_sizes_are_on_the_ground(table: SymbolTable) -> None:
    """0.6 mm at 1:15 000 are 9 m; a figure the norm does not give is NaN."""
    assert table.smallest("201").length_m == pytest.approx(9.0)
    assert table.smallest("206").area_m2 == pytest.approx(67.5)
    assert table.smallest("410").width_m == pytest.approx(3.75)
    assert table.smallest("204").height_m == pytest.approx(1.0)
    assert np.isnan(table.smallest("201").height_m)
    assert table["204"].footprint_m == pytest.approx((6.0, 6.0))
    assert np.isnan(table["101"].footprint_m).all()


def test_order_of_printing(table: SymbolTable) -> None:
    """Yellow lies under green, green under brown, brown under black."""
    orders = [table.drawing_order(number) for number in ("401", "406", "101", "204")]
    assert orders == sorted(set(orders))


def test_every_figure_says_how_sure_it_is(table: SymbolTable) -> None:
    """Every symbol that is drawn by figures has some, and none is without its mark."""
    assert len(table.rows) >= 100
    for symbol in table.rows.values():
        assert symbol.figures, symbol.number
        assert all(figure.sure for figure in symbol.figures.values())


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("0.14 read-2000", "0.14", "'' is none of"),
        ("0.14 read-2000", "0.14 certain", "'certain' is none of"),
        ("0.14 read-2000", "-0.14 read", "greater than 0"),
        ("0.14 read-2000", "wide read", "could not convert"),
        ("landform,line", "landform,lines", "'lines' is none of"),
        ("line_mm", "line_width", "columns missing"),
        ("\n102,", "\n101,", "twice"),
    ],
)
def test_bad_table_is_refused(old: str, new: str, said: str) -> None:
    """A table that does not fit is refused with what is wrong in it."""
    with pytest.raises(SettingsError, match=said):
        symbol_table(TEXT.replace(old, new, 1))


def test_a_table_that_cannot_be_read_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A symbol table that is not there is named in the message."""
    monkeypatch.setattr("pipeline.norm.symbols.SYMBOLS", tmp_path / "nowhere.csv")
    norm_table.cache_clear()
    with pytest.raises(SettingsError, match=r"nowhere\.csv"):
        norm_table()
    norm_table.cache_clear()


@pytest.mark.parametrize(("number", "kind"), DRAWN)
def test_every_symbol_draws_something(number: str, kind: Kind) -> None:
    """Each symbol of the table leaves ink on the page, in the colours the table names."""
    symbol = TABLE[number]
    assert symbol.drawing in DRAWINGS[kind]
    for colour in (symbol.ink, symbol.fill, symbol.edge):
        assert not colour or colour.partition(" ")[0] in PLATES
    ink = Ink()
    geometry = np.array([sample(kind, Box(0, 0, 12, 6), number=number)], object)
    draw_marks(ink, Marks(symbol, kind, geometry, NOTHING, NOTHING, 1.5))
    assert sum(len(ink.text_of(plate)) for plate in ink.plates) > 30


def test_drawing_a_kind_the_symbol_has_not_is_refused() -> None:
    """A boulder dot cannot be drawn along a line."""
    line = np.array([LineString([(0, 0), (1, 1)])], object)
    with pytest.raises(ValueError, match="204 cannot be drawn as line"):
        draw_marks(Ink(), Marks(TABLE["204"], "line", line, NOTHING, NOTHING, 1.0))
