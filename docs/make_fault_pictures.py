"""Real tiles that went wrong, drawn before and after, over relief: `python -m docs.make_fault_pictures BEFORE AFTER`.

BEFORE and AFTER are folders that hold a draft of each tile under the name of the tile. Each draft is drawn over its own
shaded relief: contours brown, earth banks orange, cliffs and boulders black, knolls dark orange dots, pits light ones,
water and marsh blue, tracks and rides magenta, walls, fences and buildings violet, ground that the survey has not seen
and stony ground outlined in grey, open land in ochre. What is counted is printed.
"""

from __future__ import annotations

import sys
from pathlib import Path

import rasterio
from PIL import Image

from docs.over_relief import counts, drawn, features_of, save, side_by_side

DOCS = Path(__file__).parent
TILES = ("sea_cliff", "rain_forest", "lava_cone", "thin_with_buildings", "very_thin", "all_returns_4_of_4")
SIDE_PX = 640


def main() -> None:
    """Write `docs/fault_TILE.png` for each tile and print the counts; where a draft failed, only the other is drawn."""
    folders = {word: Path(argument) for word, argument in zip(("before", "after"), sys.argv[1:3], strict=True)}
    for tile in TILES:
        outs = {word: folder / tile for word, folder in folders.items() if (folder / tile / "draft.gpkg").exists()}
        if "after" in outs:
            save(side_by_side({word: draft(out) for word, out in outs.items()}), DOCS / f"fault_{tile}.png")
            told = {word: counts(out) for word, out in outs.items()}
            print(f"\n{tile}")
            for kind in told["after"]:
                print(f"| {kind} | " + " | ".join(told[word][kind] if word in told else "-" for word in folders) + " |")


def draft(out: Path) -> Image.Image:
    """The draft in the folder `out` over its own relief."""
    with rasterio.open(out / "rasters" / "shaded_relief.tif") as file:
        return drawn(file.read(1), file.transform, features_of(out), side_px=SIDE_PX)


if __name__ == "__main__":
    main()
