"""Sheets in six languages, read back by two programs that did not write them."""

from __future__ import annotations

import datetime
import io
from typing import Any

import pypdfium2
import pytest
from shapely import STRtree
from shapely.geometry import LineString, Point, box

from pipeline.features import make_features
from pipeline.settings import SheetSettings
from pipeline.sheet.drawing import draw_sheet
from pipeline.sheet.texts import Told, survey_words
from pipeline.words.codes import LanguageCode
from pipeline.words.language import Language
from tests.paths import symbols

pdfplumber = pytest.importorskip("pdfplumber", reason="reading the PDF needs pdfplumber: install tussock[test]")

CRS = "EPSG:25832"
SAID: dict[LanguageCode, tuple[str, ...]] = {
    "en": ("DRAFT", "contour interval 2.5 m", "204 Boulder", "409 Vegetation: walk, good visibility", "10 Apr 2027"),
    "de": ("ENTWURF", "Äquidistanz 2,5 m", "204 Stein", "409 Vegetation: Gehen, gute Sicht", "10.04.2027"),
    "sv": ("UTKAST", "ekvidistans 2,5 m", "204 Sten", "409 Vegetation: gång, god sikt", "10 apr. 2027"),
    "fi": ("LUONNOS", "käyräväli 2,5 m", "204 Kivi", "409 Kasvillisuus: kävely, hyvä näkyvyys", "10.4.2027"),
    "cs": ("NÁVRH", "základní interval 2,5 m", "204 Kámen", "409 Vegetace: chůze, dobrá viditelnost", "10. 4. 2027"),
    "fr": ("ÉBAUCHE", "équidistance 2,5 m", "204 Rocher", "409 Végétation : marche, bonne visibilité", "10 avr. 2027"),
}
"""The mark, the interval, two symbols and the date of the map as each language says them; written here by hand."""
NAME = "Большое Болото 森林"


def sheet(code: LanguageCode) -> bytes:
    """The PDF of a small map with a name in two foreign alphabets."""
    outline = box(600_000, 5_300_000, 600_600, 5_300_500)
    shapes = {
        ("rock_point", "204"): Point(600_300, 5_300_200),
        ("vegetation_area", "409"): box(600_050, 5_300_050, 600_250, 5_300_250),
        ("landform_line", "101"): LineString([(600_000, 5_300_300), (600_600, 5_300_350)]),
    }
    layers = {
        layer: make_features([shape], crs=CRS, symbol=symbol, confidence=0.9, evidence="")
        for (layer, symbol), shape in shapes.items()
    }
    language = Language(code)
    survey = survey_words(
        language, maker="Club", pulses_per_m2=7.5, leaves="leaf-off", leaves_told_from="dates", borrowed=[]
    )
    return draw_sheet(
        layers,
        symbols=symbols(),
        name=NAME,
        outline=outline,
        crs=CRS,
        scale=10000,
        contour_interval_m=2.5,
        map_date=datetime.date(2027, 4, 10),
        survey_line=survey,
        settings=SheetSettings(),
        told=Told(datetime.date(2026, 11, 28), ("2026-05-16",)),
        language=language,
    ).pdf


def read_by_pdfplumber(pdf: bytes) -> str:
    """Text of the page, line by line across its columns."""
    with pdfplumber.open(io.BytesIO(pdf)) as document:
        return document.pages[0].extract_text()


def read_by_pdfium(pdf: bytes) -> str:
    """Text of the page in the order in which it was written."""
    return pypdfium2.PdfDocument(pdf)[0].get_textpage().get_text_bounded()


def one_line(text: str) -> str:
    """Text without breaks of lines, and with single spaces."""
    return " ".join(text.split())


@pytest.mark.parametrize("code", SAID)
def test_a_sheet_says_what_it_must_in_its_language(code: LanguageCode) -> None:
    """Both readers find the mark, the interval, the names of symbols, the date and the name of the area."""
    pdf = sheet(code)
    by_order = one_line(read_by_pdfium(pdf))
    for words in (*SAID[code], NAME):
        assert words in by_order, (words, by_order)
    by_place = read_by_pdfplumber(pdf)
    for words in SAID[code][:2]:
        assert words in one_line(by_place), words
    assert NAME.replace(" ", "") in by_place.replace(" ", "")
    assert "?" not in by_order


@pytest.mark.parametrize("code", SAID)
def test_nothing_is_printed_over_the_edge_or_over_other_words(code: LanguageCode) -> None:
    """Every word lies within the page's margin, and no two words share room."""
    with pdfplumber.open(io.BytesIO(sheet(code))) as document:
        page = document.pages[0]
        words = page.extract_words()
    margin = SheetSettings().page_margin_mm * 72 / 25.4
    assert min(word["x0"] for word in words) >= margin - 0.5
    assert max(word["x1"] for word in words) <= float(page.width) - margin + 0.5
    assert clashes(words) == []
    words[0] |= {edge: words[5][edge] + 1 for edge in ("x0", "x1", "top", "bottom")}
    assert len(clashes(words)) > 0, "a word moved over another must be found"


def clashes(words: list[dict[str, Any]], /) -> list[tuple[str, str]]:
    """Pairs of words whose boxes overlap by more than the room that letters leave empty."""
    boxes = [box(word["x0"] + 0.3, word["top"] + 1.2, word["x1"] - 0.3, word["bottom"] - 1.2) for word in words]
    first, second = STRtree(boxes).query(boxes, predicate="intersects")
    return [(words[i]["text"], words[j]["text"]) for i, j in zip(first, second, strict=True) if i < j]


def test_only_the_english_sheet_is_in_english() -> None:
    """The caution that a runner must not miss is translated everywhere."""
    caution = "not for navigation or competition"
    assert [code for code in SAID if caution in one_line(read_by_pdfium(sheet(code)))] == ["en"]
