"""Make the typefaces of the sheet's names from Debian's packages of Noto: only the letters that names are written in.

    pip install fonttools
    apt-get download fonts-noto-core fonts-noto-cjk    # then: dpkg-deb -x each PACKAGE FOLDER
    python docs/make_fonts.py FOLDER

Noto Sans gives the letters of Latin, Greek and Cyrillic, plain and bold. Noto Sans CJK gives kana, Korean syllables and
the characters that China (GB 2312, first level), Taiwan (Big5, first level) and Japan (JIS X 0208, first level) call
common, in their Japanese forms; its curves are turned from cubic to quadratic, to a thousandth of the letter's size, as
the PDF library embeds only such.
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Iterable
from pathlib import Path

from fontTools import subset
from fontTools.pens.cu2quPen import Cu2QuPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont, newTable

TARGET = Path(__file__).parent.parent / "pipeline" / "sheet" / "page" / "fonts"
LETTERS = (
    *range(0x20, 0x250),  # Latin, its supplement and extensions A and B
    *range(0x2B0, 0x400),  # marks, Greek and Coptic
    *range(0x400, 0x530),  # Cyrillic and its supplement
    *range(0x1E00, 0x2070),  # further Latin (Vietnamese), Greek with accents, punctuation
    *range(0x20A0, 0x20C0),  # currencies
    *range(0x2100, 0x2190),  # letterlike, such as the number sign
)
"""Code points of Unicode that are taken from Noto Sans, where it has them."""
TOLERANCE_EM = 0.001


def characters(codec: str, leads: Iterable[int], trails: Iterable[int] = range(0xA1, 0xFF)) -> set[int]:
    """Code points of the two-byte characters of an encoding whose first byte is one of these."""
    found = set()
    for pair in itertools.product(leads, list(trails)):
        try:
            found |= {ord(letter) for letter in bytes(pair).decode(codec)}
        except UnicodeDecodeError:
            continue
    return found


COMMON = (
    characters("gb2312", range(0xA1, 0xD8))
    | characters("euc_jp", range(0xA1, 0xD0))
    | characters("big5", range(0xA1, 0xC7), [*range(0x40, 0x7F), *range(0xA1, 0xFF)])
    | characters("euc_kr", range(0xB0, 0xC9))
)
"""Signs, kana, first-level characters (GB 2312: rows to 55; JIS X 0208: rows to 47; Big5: lead bytes to C6) and Korean
syllables (KS X 1001: rows 16 to 40)."""


def reduced(source: Path, code_points: Iterable[int], /, *, number: int = -1) -> TTFont:
    """The font with only these letters, without hints and layout tables that the PDF library does not read."""
    options = subset.Options(hinting=False, layout_features=[], name_IDs=[0, 1, 2, 5, 6, 13, 14], notdef_outline=True)
    options.drop_tables += ["GSUB", "GPOS", "GDEF", "BASE", "VORG", "vhea", "vmtx", "DSIG", "meta"]
    options.glyph_names = False
    font = subset.load_font(str(source), subset.Options(font_number=number))
    chosen = subset.Subsetter(options)
    chosen.populate(unicodes=set(code_points))
    chosen.subset(font)
    return font


def with_quadratic_curves(font: TTFont, /) -> TTFont:
    """The font with TrueType outlines in place of its CFF ones."""
    outlines, order = font.getGlyphSet(), font.getGlyphOrder()
    error = TOLERANCE_EM * font["head"].unitsPerEm
    glyphs = {}
    for name in order:
        pen = TTGlyphPen(None)
        outlines[name].draw(Cu2QuPen(pen, error, reverse_direction=True))
        glyphs[name] = pen.glyph()
    font["glyf"], font["loca"] = newTable("glyf"), newTable("loca")
    font["glyf"].glyphOrder, font["glyf"].glyphs = order, glyphs
    font.recalcBBoxes = True
    for glyph in glyphs.values():
        glyph.recalcBounds(font["glyf"])
    font["hmtx"].metrics = {
        name: (width, getattr(glyphs[name], "xMin", 0)) for name, (width, _) in font["hmtx"].metrics.items()
    }
    _describe_as_truetype(font, len(order))
    del font["CFF "]
    font.sfntVersion = "\x00\x01\x00\x00"
    return font


NOTHING = (
    "maxPoints maxContours maxCompositePoints maxCompositeContours maxTwilightPoints maxStorage maxFunctionDefs "
    "maxInstructionDefs maxStackElements maxSizeOfInstructions maxComponentElements maxComponentDepth"
)
"""Fields of the table `maxp` that are counted on saving, or nought where there are no hints."""


def _describe_as_truetype(font: TTFont, n_glyphs: int) -> None:
    maxp = newTable("maxp")
    maxp.tableVersion, maxp.numGlyphs, maxp.maxZones = 0x00010000, n_glyphs, 1
    for field in NOTHING.split():
        setattr(maxp, field, 0)
    font["maxp"], font["post"].formatType = maxp, 3.0
    font["head"].glyphDataFormat = 0


def main(folder: Path) -> None:
    """Write the three typefaces beside the code that prints with them."""
    found = {path.name: path for path in folder.rglob("NotoSans*.tt[fc]")}
    for name in ("NotoSans-Regular", "NotoSans-Bold"):
        reduced(found[f"{name}.ttf"], LETTERS).save(TARGET / f"{name}.ttf")
    whole = reduced(found["NotoSansCJK-Regular.ttc"], COMMON - set(LETTERS), number=0)
    with_quadratic_curves(whole).save(TARGET / "NotoSansCJK-Common.ttf")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
