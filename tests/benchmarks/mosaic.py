"""How much simpler the drawn mosaic of vegetation is than what each cell is by itself, and how true it stays.

Run: python -m tests.benchmarks.mosaic NAME=OUT ... [--picture FILE]

OUT is the folder of a finished draft with its `work`. The cells are decided again from its rasters and counts, with the
settings as they are by default, and compared with `draft.gpkg`. --picture draws both for the last of the drafts.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from PIL import Image
from rasterio.features import geometry_mask, rasterize
from scipy import ndimage

from docs.over_relief import side_by_side
from pipeline.draft.collisions import SOLID
from pipeline.files import arrays, grid_files, rasters
from pipeline.lattice.grid import Grid, Mask
from pipeline.lattice.reach import wide_enough, within_reach
from pipeline.norm.symbols import isom
from pipeline.settings import VegetationSettings
from pipeline.terrain.profile import PROFILE_NAMES
from pipeline.vegetation.areas.areas import NOT_SEEN_SYMBOL
from pipeline.vegetation.areas.kinds import AREA_SYMBOLS, NOT_SEEN, OUTSIDE, cells_of, decide_kinds
from pipeline.vegetation.areas.merging import Kinds, connected_areas
from pipeline.vegetation.calibration.agreement import weighted_kappa
from pipeline.vegetation.draft import ground_of, limits_of
from pipeline.vegetation.running.runnability import BAND_OF
from tests.benchmarks.results import Table

OPEN = ("401", "402", "403", "404")
PASSABLE = ("405", "406", "407", *OPEN)
COLUMNS = [
    "place",
    "km2",
    "areas/km2 of cells",
    "drawn/km2",
    "kappa",
    "kappa with open",
    "open F1",
    "405",
    "406",
    "408",
]
COLUMNS += ["410", "open", "gaps kept"]
"""Kappas are quadratic: of the four bands (407 is 406, 409 is 408) where both are forest, and with open land as a fifth
class before them. Shares are of the ground, of cells -> drawn. Gaps: share of the ground of passable strips, cells ->
drawn, that lead through walk or fight."""
GAP_LEAST_M, GAP_MOST_M = 3.0, 8.0
"""Width of a strip of passable ground that is a gap, not a thread nor an area."""
INKS = {"405": "#ffffff", "406": "#b9e3b1", "407": "#d8f0d0", "408": "#6cc067", "409": "#90d090", "410": "#1a9641"}
INKS |= {"401": "#ffc832", "402": "#ffe08a", "403": "#ffe8a8", "404": "#fff2c8"}


@dataclass(frozen=True)
class Mosaic:
    """The same ground twice: what each cell is by itself, and what is drawn on it."""

    cells: Kinds
    drawn: Kinds
    n_drawn: int
    grid: Grid

    @property
    def km2(self) -> float:
        """Ground of the survey."""
        return float((self.cells != OUTSIDE).sum()) * self.grid.cell_m**2 / 1e6


def mosaic_of(out: Path, /) -> Mosaic:
    """The mosaic of a finished draft."""
    everywhere = (-1e9, -1e9, 1e9, 1e9)
    heights, grid = rasters.read_heights(out / "rasters" / "bare_earth.tif", bounds=everywhere)
    profile = grid_files.read_sums(out / "work" / "counts", PROFILE_NAMES, bounds=grid.bounds)
    pulses = cast("float", arrays.read_json(out / "work" / "decided.json")["pulses_per_m2"])
    settings = VegetationSettings()
    ground, _ = ground_of(profile, heights, grid, settings, pulses)
    cells = decide_kinds(ground, limits=limits_of(settings))
    areas = gpd.read_file(out / "draft.gpkg", layer="vegetation_area")
    unseen = gpd.read_file(out / "draft.gpkg", layer="technical_area")
    found = pd.concat([areas, unseen[unseen["symbol"] == NOT_SEEN_SYMBOL]])
    kind_of = {symbol: kind for kind, symbol in enumerate(AREA_SYMBOLS)} | {NOT_SEEN_SYMBOL: NOT_SEEN}
    pairs = zip(found.geometry, found["symbol"], strict=True)
    shapes = [(shape, kind_of[text] + 1) for shape, text in pairs if text in kind_of]
    burnt = rasterize(shapes, out_shape=grid.shape, transform=grid.transform, fill=1) if shapes else np.ones(grid.shape)
    outline = gpd.read_file(out / "work" / "outline.gpkg").geometry
    solid = [gpd.read_file(out / "draft.gpkg", layer=layer) for layer in ("water_area", "manmade_area")]
    covers = [shape for table in solid for shape in table.geometry[table["symbol"].isin(SOLID)]]
    # What vegetation would be under a house or a pond is no matter.
    cells[geometry_mask(outline, out_shape=grid.shape, transform=grid.transform)] = OUTSIDE
    if covers:
        cells[geometry_mask(covers, out_shape=grid.shape, transform=grid.transform, invert=True)] = OUTSIDE
    drawn = np.where(cells == OUTSIDE, OUTSIDE, burnt.astype(np.int16) - 1)
    return Mosaic(cells, drawn.astype(np.int16), len(areas), grid)


def row_of(name: str, mosaic: Mosaic, /) -> list[str]:
    """The figures of COLUMNS."""
    _, kind_of = connected_areas(mosaic.cells)
    n_cells = int(np.isin(kind_of, [kind for kind, text in enumerate(AREA_SYMBOLS) if text != "405"]).sum())
    bands = [_bands(kinds) for kinds in (mosaic.cells, mosaic.drawn)]
    known = (bands[0] >= -1) & (bands[1] >= -1)
    forest = known & (bands[0] >= 0) & (bands[1] >= 0)
    is_open = [(band == -1) & known for band in bands]
    f1 = 2 * (is_open[0] & is_open[1]).sum() / max(int(is_open[0].sum() + is_open[1].sum()), 1)
    inside = mosaic.cells != OUTSIDE
    before, after = ([100 * (band[inside] == b).mean() for b in (0, 1, 2, 3, -1)] for band in bands)
    return [
        name,
        f"{mosaic.km2:.2f}",
        f"{n_cells / mosaic.km2:.0f}",
        f"{mosaic.n_drawn / mosaic.km2:.0f}",
        f"{weighted_kappa(_table(bands[0][forest], bands[1][forest], 4)):.3f}",
        f"{weighted_kappa(_table(bands[0][known] + 1, bands[1][known] + 1, 5)):.3f}",
        f"{f1:.3f}",
        *(f"{one:.0f} -> {other:.0f} %" for one, other in zip(before, after, strict=True)),
        _gaps_kept(mosaic),
    ]


def _bands(kinds: Kinds) -> NDArray[np.int64]:
    """0 to 3 forest, -1 open land, -2 neither."""
    band_of = [BAND_OF.get(symbol, -1) for symbol in AREA_SYMBOLS]
    return np.array([*band_of, -2, -2], np.int64)[kinds]


def _table(one: NDArray[np.int64], other: NDArray[np.int64], k: int) -> NDArray[np.int64]:
    return np.bincount(k * one + other, minlength=k * k).reshape(k, k)


def _gaps_kept(mosaic: Mosaic) -> str:
    """Share of the gaps' ground that is passable in the draft, and how many gaps there are."""
    gaps = _gaps(cells_of(mosaic.cells, PASSABLE), mosaic.grid.cell_m)
    kept = cells_of(mosaic.drawn, PASSABLE)[gaps]
    n_gaps = ndimage.label(gaps)[1]
    return f"{100 * kept.mean():.0f} % of {n_gaps}" if n_gaps else "none"


def _gaps(passable: Mask, cell_m: float) -> Mask:
    """Strips of passable ground GAP_LEAST_M to GAP_MOST_M wide that touch wider parts of it at two places."""
    wide = wide_enough(passable, width_m=GAP_MOST_M, cell_m=cell_m)
    strip, _ = ndimage.label(wide_enough(passable, width_m=GAP_LEAST_M, cell_m=cell_m) & ~wide)
    beside = within_reach(wide, reach_m=cell_m, cell_m=cell_m) & (strip > 0)
    ends, n_ends = ndimage.label(beside, np.ones((3, 3)))
    strip_of_end = np.unique(strip[ends > 0].astype(np.int64) * (n_ends + 1) + ends[ends > 0]) // (n_ends + 1)
    leads = np.bincount(strip_of_end, minlength=int(strip.max()) + 1) >= 2
    area_m2 = np.bincount(strip.ravel()) * cell_m**2
    leads &= area_m2 >= isom("410").smallest.area_m2
    leads[0] = False
    return np.asarray(leads[strip])


def compared(drafts: dict[str, Path], /) -> list[Table]:
    """A row for each draft."""
    return [Table("", COLUMNS, [row_of(name, mosaic_of(out)) for name, out in drafts.items()])]


def picture(mosaic: Mosaic, file: Path, /, *, side_m: float = 250.0) -> None:
    """The north-western corner: what each cell is, and what is drawn."""
    side = round(side_m / mosaic.grid.cell_m)
    inks = [*(INKS[symbol] for symbol in AREA_SYMBOLS), "#bbbbbb", "#000000"]
    palette = np.array([[int(ink[i : i + 2], 16) for i in (1, 3, 5)] for ink in inks], np.uint8)
    pictures = {
        words: Image.fromarray(palette[kinds[:side, :side]])
        for words, kinds in (("each cell by itself", mosaic.cells), ("as drawn", mosaic.drawn))
    }
    side_by_side(pictures).quantize(64, dither=Image.Dither.NONE).save(file, optimize=True)


def main() -> None:
    """Print the table; draw the picture if asked for."""
    arguments = sys.argv[1:]
    file = Path(arguments[arguments.index("--picture") + 1]) if "--picture" in arguments else None
    drafts = {name: Path(out) for name, out in (text.split("=", 1) for text in arguments if "=" in text)}
    print("\n".join(compared(drafts)[0].as_markdown()))
    if file:
        picture(mosaic_of(list(drafts.values())[-1]), file)


if __name__ == "__main__":
    main()
