"""What a map leaves out on purpose, before and after: `python -m docs.make_selection_pictures BEFORE AFTER`.

BEFORE and AFTER are folders that hold a draft of each place under its name; the map of each, cut from its field sheet,
stands beside the other.
"""

from __future__ import annotations

import sys
from pathlib import Path

from PIL import Image

from docs.over_relief import side_by_side

DOCS = Path(__file__).parent
PLACES = ("bc_forest", "lava_forest", "lava_cone", "hard_moraine")
SIDE_PX = 620
TURNED = ("bc_forest",)
"""Places that are so long that their maps stand one over the other, turned."""


def main() -> None:
    """Write `docs/selection_PLACE.png` for each place."""
    folders = {word: Path(argument) for word, argument in zip(("before", "after"), sys.argv[1:3], strict=True)}
    for place in PLACES:
        maps = {word: map_of(folder / place, place) for word, folder in folders.items()}
        file = DOCS / f"selection_{place}.png"
        side_by_side(maps).quantize(64, dither=Image.Dither.NONE).save(file, optimize=True)


def map_of(out: Path, place: str) -> Image.Image:
    """The map of a field sheet, its longer side `SIDE_PX` long; on white where there is none."""
    picture = Image.open(out / "sheets" / "field_sheet.tif").convert("RGBA")
    paper = Image.new("RGBA", picture.size, "white")
    paper.alpha_composite(picture)
    shown = paper.convert("RGB")
    if place in TURNED:
        shown = shown.rotate(90, expand=True)
    zoom = SIDE_PX / max(shown.size)
    return shown.resize((round(shown.width * zoom), round(shown.height * zoom)), Image.Resampling.LANCZOS)


if __name__ == "__main__":
    main()
