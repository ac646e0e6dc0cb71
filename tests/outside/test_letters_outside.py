"""Names in the world's letters, read back from the sheet by another program."""

from __future__ import annotations

import datetime
import io

import pikepdf
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.lib.utils import simpleSplit
from shapely.geometry import box

from pipeline.settings import SheetSettings
from pipeline.sheet.drawing import draw_sheet
from pipeline.sheet.page.letters import PLAIN, POINTS_PER_MM, text_width_mm, typeface, wrapped
from tests.paths import symbols

pdfplumber = pytest.importorskip("pdfplumber", reason="reading the PDF needs pdfplumber: install tussock[test]")

NAMES = {
    "Latin": "Żółta Góra, Høgåsen, Šķēde",
    "Cyrillic": "Большое Болото",
    "Ukrainian": "Ґедзів ліс, Їжаків яр",
    "Greek": "Όλυμπος, Ψηλό Βουνό",
    "Chinese": "黄山森林公园",
    "Taiwan": "陽明山國家公園",
    "Japanese": "富士山麓 あおきがはら ジュカイ",
    "Korean": "설악산 숲길",
    "mixed": "Hollin Edge 森林 Лес",
}


def printed(name: str) -> tuple[str, bytes]:
    """Text of the first page of a sheet with that name, and the PDF."""
    drawing = draw_sheet(
        {},
        symbols=symbols(),
        name=name,
        outline=box(600_000, 5_300_000, 600_600, 5_300_500),
        crs="EPSG:25832",
        scale=10000,
        contour_interval_m=5,
        map_date=datetime.date(2027, 4, 10),
        survey_line="Invented survey, 8 pulses/m2.",
        settings=SheetSettings(),
    )
    with pdfplumber.open(io.BytesIO(drawing.pdf)) as document:
        return document.pages[0].extract_text(), drawing.pdf


@pytest.mark.parametrize("script", NAMES)
def test_a_name_is_printed_in_its_own_letters(script: str) -> None:
    """Each letter of the name stands in the PDF as that letter, in the order written; none is a question mark."""
    text, _ = printed(NAMES[script])
    title = text.splitlines()[0]
    assert NAMES[script].replace(" ", "") in title.replace(" ", "")
    assert "?" not in title


def test_every_typeface_is_embedded_and_only_the_letters_used() -> None:
    """A sheet is the same on every machine; a name in Chinese adds some kilobytes and not the whole typeface."""
    plain, chinese = printed("Hollin Edge")[1], printed(NAMES["Chinese"])[1]
    assert len(chinese) - len(plain) < 30_000
    with pdfplumber.open(io.BytesIO(chinese)) as document:
        names = {letter["fontname"] for letter in document.pages[0].chars}
        assert any("NotoSansCJK" in name.replace("-", "") for name in names), names
    with pikepdf.Pdf.open(io.BytesIO(chinese)) as pdf:
        fonts = list(pdf.pages[0].resources["/Font"].values())
        assert fonts
        assert all("/FontFile2" in font["/FontDescriptor"] for font in fonts)


def test_the_same_name_gives_the_same_file() -> None:
    """Whatever was printed before."""
    first = printed(NAMES["Japanese"])[1]
    printed(NAMES["Korean"])
    assert printed(NAMES["Japanese"])[1] == first


@given(st.lists(st.text("abcdeimnopqrstuwäé,.;-()", min_size=1, max_size=14), min_size=1, max_size=25))
def test_western_lines_break_where_the_pdf_library_breaks_them(words: list[str]) -> None:
    """The same lines as ReportLab's own splitting, which knows one typeface only."""
    text, width_mm, size_pt = " ".join(words), 55.0, 7.0
    theirs = simpleSplit(text, typeface(PLAIN), size_pt, width_mm * POINTS_PER_MM)
    assert wrapped(text, width_mm=width_mm, size_pt=size_pt) == theirs


def test_chinese_lines_break_without_spaces() -> None:
    """Every line fits, and no letter is lost."""
    text = "黄山森林公园" * 8 + " Hollin Edge"
    lines = wrapped(text, width_mm=30.0, size_pt=7.0)
    assert len(lines) > 3
    assert all(text_width_mm(line, size_pt=7.0) <= 30.0 for line in lines)
    assert "".join(lines).replace(" ", "") == text.replace(" ", "")


def test_letters_no_typeface_has_are_marked() -> None:
    """A script nobody drew for us is a question mark a letter, and no crash."""
    assert "??" in printed("አዲስ")[0].splitlines()[0]
