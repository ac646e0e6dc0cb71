"""The sheet in every language: all letters there, nothing wider than its room, measured with another library."""

from __future__ import annotations

import datetime
from typing import get_args

import pytest
from PIL import ImageFont
from shapely.geometry import box

from docs.make_words import catalogue
from pipeline.norm.symbols import norm_table
from pipeline.sheet import texts
from pipeline.sheet.legend import SAMPLE_MM
from pipeline.sheet.marginalia import NAME_PT, NOTE_PT
from pipeline.sheet.page.letters import BOLD, PLAIN, runs, wrapped
from pipeline.sheet.page.north import north_of_area
from pipeline.sheet.page.page import COLUMN_MM
from pipeline.sheet.texts import MapText, Told
from pipeline.shipped import TYPEFACES
from pipeline.survey.judge import judge
from pipeline.survey.measure import Density
from pipeline.words.codes import TRANSLATED, LanguageCode
from pipeline.words.language import UNBROKEN, Language

LANGUAGES: tuple[LanguageCode, ...] = get_args(LanguageCode)
UNITS = 2048
"""Size in which Pillow measures letters, so that rounding to its pixels does not count."""
MM_PER_PT = 25.4 / 72


def width_mm(words: str, *, size_pt: float, face: str = PLAIN) -> float:
    """Width of a line as Pillow measures it in the typeface's file."""
    font = ImageFont.truetype(TYPEFACES / f"{face}.ttf", UNITS, layout_engine=ImageFont.Layout.BASIC)
    return font.getlength(words.replace(UNBROKEN, " ")) / UNITS * size_pt * MM_PER_PT


def map_text(code: LanguageCode) -> MapText:
    """All that can be said of a map: an enlargement with too small an interval and a thin survey."""
    outline = box(600_000, 5_300_000, 600_600, 5_300_500)
    day = datetime.date(2027, 4, 10)
    language = Language(code)
    survey = texts.survey_words(
        language,
        maker="",
        pulses_per_m2=1234.5,
        leaves="in between",
        leaves_told_from="dates",
        borrowed=[("a.gpx", "")],
    )
    return MapText(
        name="Hollin Edge",
        scale=7500,
        contour_interval_m=2.5,
        map_date=day,
        survey_line=survey,
        north=north_of_area(outline, crs="EPSG:25832", date=day),
        told=Told(day, ("2026-11-28", "2026-12-29"), texts.KINDS),
        steep_percent=40,
        steep_from_percent=25,
        language=language,
    )


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_name_of_a_symbol_fits_the_legend(code: LanguageCode) -> None:
    """Long words break between words; no line is wider than the column beside the sample."""
    room_mm = COLUMN_MM - SAMPLE_MM - 2.5
    for number, symbol in norm_table().rows.items():
        words = texts.legend_words(number, symbol.name, Language(code))
        lines = wrapped(words, width_mm=room_mm, size_pt=NAME_PT)
        assert 1 <= len(lines) <= 3, words
        assert max(width_mm(line, size_pt=NAME_PT) for line in lines) <= room_mm + 0.01, words


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_sentence_fits_its_column(code: LanguageCode) -> None:
    """Cautions, dates and sources, in the width that is left beside the north arrow."""
    text = map_text(code)
    first, *more = texts.cautions(text)
    for words in (*more, *texts.dates(text), *texts.sources(text), texts.declination_words(text)):
        lines = wrapped(words, width_mm=COLUMN_MM - 8, size_pt=NOTE_PT)
        assert max(width_mm(line, size_pt=NOTE_PT) for line in lines) <= COLUMN_MM - 8 + 0.01, words
    bold = wrapped(first, width_mm=COLUMN_MM, size_pt=NOTE_PT, face=BOLD)
    assert max(width_mm(line, size_pt=NOTE_PT, face=BOLD) for line in bold) <= COLUMN_MM + 0.01


@pytest.mark.parametrize("code", LANGUAGES)
def test_what_is_said_of_one_map_is_in_one_language(code: LanguageCode) -> None:
    """No sentence of a translated sheet is left in English, and no brace is printed."""
    english, said = (
        [*texts.title_facts(text, part="", scale=7500), *texts.cautions(text), *texts.dates(text), *texts.sources(text)]
        for text in (map_text("en"), map_text(code))
    )
    assert not any("{" in words for words in said)
    same = set(said) & set(english)
    assert same == (set(english) if code == "en" else {english[0]}), same
    assert english[0].startswith("1:")


@pytest.mark.parametrize("code", TRANSLATED)
def test_the_typefaces_have_every_letter_of_the_language(code: LanguageCode) -> None:
    """All texts are set in the one typeface, with nothing replaced by its base letter or a question mark."""
    for message in catalogue(code):
        forms = message.string if isinstance(message.string, tuple) else (message.string,)
        for words in forms if message.id else ():
            for face in (PLAIN, BOLD):
                assert [tuple(run) for run in runs(words, face=face)] == [(face, words.replace(UNBROKEN, " "))]


def test_every_kind_that_the_survey_judges_has_words() -> None:
    """What the survey cannot show is named on the sheet in the mapper's language."""
    density = Density(1.0, 1.0, 1.0, 0.0, 0.0)
    judged = {verdict.feature for verdict in judge(density, season="unknown")}
    assert judged == set(texts.KINDS)


def test_the_leaves_are_told_by_what_is_known_of_them() -> None:
    """From dates, from the crowns, or not at all."""

    def said(leaves: str, told_from: str) -> str:
        return texts.survey_words(
            Language(), maker="Survey", pulses_per_m2=8, leaves=leaves, leaves_told_from=told_from, borrowed=[]
        )

    assert said("leaf-off", "dates").endswith("will be denser in summer than drawn.")
    assert "crowns" in said("leaf-on", "crowns")
    assert said("unknown", "nothing").endswith(texts.LEAVES_UNKNOWN)
    assert said("unknown", "nothing").startswith("Airborne lidar (Survey), 8.0 pulses")


def test_each_source_is_credited_once() -> None:
    """Two files of one maker are one credit; a file without one is named."""
    credits = [("a.gpx", "Club"), ("b.gpx", "Club"), ("c.gpx", "")]
    said = texts.survey_words(
        Language(), maker="", pulses_per_m2=8, leaves="unknown", leaves_told_from="nothing", borrowed=credits
    )
    assert said.endswith("With data of others: Club; c.gpx (no credit given).")
    assert "(maker and licence not given)" in said
