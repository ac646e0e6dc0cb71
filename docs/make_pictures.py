"""The pictures of the README, from the sample's field sheet: `make pictures`."""

from __future__ import annotations

from pathlib import Path

import pypdfium2
from PIL import Image

PROJECT = Path(__file__).parent.parent
SHEET_DPI, MAP_DPI = 130, 500
MAP_WINDOW = (0.09, 0.17, 0.31, 0.48)
"""Left, top, right, bottom of the map on the sample's sheet, as shares of the page."""


def main() -> None:
    """Write `docs/field_sheet.png` and `docs/map.png`."""
    with pypdfium2.PdfDocument(PROJECT / "sample_tiles" / "out" / "sheets" / "field_sheet.pdf") as document:
        for name, dpi in (("field_sheet", SHEET_DPI), ("map", MAP_DPI)):
            pixels = document[0].render(scale=dpi / 72, rev_byteorder=True).to_numpy()[..., :3]
            picture = Image.fromarray(pixels)
            if name == "map":
                left, top, right, bottom = MAP_WINDOW
                width, height = picture.size
                picture = picture.crop(
                    (round(left * width), round(top * height), round(right * width), round(bottom * height))
                )
            picture.quantize(64).save(PROJECT / "docs" / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main()
