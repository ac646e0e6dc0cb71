"""Which pictures the page offers to lay under the map, and what each shows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from shapely.geometry import MultiPolygon, Polygon

from pipeline.exports.backdrops.kinds import DARK_GREEN, TALLEST_M
from pipeline.lattice.grid import Heights
from pipeline.report.looks import Json
from pipeline.report.pictures import (
    Classes,
    Raster,
    classed_picture,
    cut_to,
    grey_picture,
    legend_of,
    pixel_for,
    shaded_picture,
    turned,
)
from pipeline.report.place import Place
from pipeline.report.quality import SUPPORT, SUPPORT_WORDS

RUNNING: Classes = (
    (0.2, (0, 106, 60)),
    (0.6, (70, 160, 90)),
    (0.8, (160, 208, 140)),
    (float("inf"), (250, 250, 236)),
)
"""Expected running speed as a share of free running, and its colour; the bounds are those of the norm's bands of
forest: fight to 20 %, walk to 60 %, slow running to 80 % (ISOM 2017-2, 3.5)."""
RUNNING_WORDS = ("up to 20 %: fight", "20 to 60 %: walk", "60 to 80 %: slow running", "above 80 %: normal running")
RELIEF_PIXELS, OTHER_PIXELS = 9_000_000, 1_500_000
"""Most pixels of the relief, which shows boulders, and of a coarser picture: together some 4 MB (our choice)."""


@dataclass(frozen=True)
class Ground:
    """A picture to lay under the map: raster it is made from, words, how it is drawn, most pixels."""

    raster: str
    label: str
    says: str
    draw: Callable[[Heights], str]
    most_pixels: int = OTHER_PIXELS
    legend: tuple[Classes, tuple[str, ...]] | None = None
    smooth: bool = True


GROUNDS: dict[str, Ground] = {
    "relief": Ground("shaded_relief", "Relief", "bare earth, lit from the north-west", grey_picture, RELIEF_PIXELS),
    "support": Ground(
        "ground_support",
        "Survey quality",
        "how far it is to the nearest return from the ground",
        lambda values: classed_picture(values, SUPPORT),
        legend=(SUPPORT, SUPPORT_WORDS),
        smooth=False,
    ),
    "running": Ground(
        "running_speed",
        "Running speed",
        "expected speed as a share of free running, cell by cell",
        lambda values: classed_picture(values, RUNNING),
        legend=(RUNNING, RUNNING_WORDS),
    ),
    "canopy": Ground(
        "canopy_height",
        "Tree height",
        f"white is none, dark green {TALLEST_M:.0f} m and more",
        lambda values: shaded_picture(values, TALLEST_M, DARK_GREEN),
    ),
}


def pictures_of_ground(
    rasters: Mapping[str, Raster], outline: Polygon | MultiPolygon, place: Place, /
) -> dict[str, Json]:
    """The pictures that the rasters at hand give, by name, each as wide and high as the page's map.

    Returns
    -------
    For each `label`, `says`, `src` (a data URI), `legend` (words and colours), `pixel_m`, `box` (west, south, east,
    north of the picture on the page's map, metres)
    """
    found: dict[str, Json] = {}
    for name, ground in GROUNDS.items():
        if ground.raster not in rasters:
            continue
        values, transform = rasters[ground.raster]
        cell_m = abs(transform.determinant) ** 0.5
        pixel_m = pixel_for(place, most_pixels=ground.most_pixels, finest_m=cell_m)
        whole = turned(values, transform, place, pixel_m=pixel_m, smooth=ground.smooth)
        picture = cut_to(whole, outline, place, pixel_m=pixel_m)
        rows, cols = picture.shape
        found[name] = {
            "label": ground.label,
            "says": ground.says,
            "src": ground.draw(picture),
            "legend": legend_of(*ground.legend) if ground.legend else [],
            "pixel_m": round(pixel_m, 3),
            "box": [0.0, place.height_m - rows * pixel_m, cols * pixel_m, place.height_m],
        }
    return found
