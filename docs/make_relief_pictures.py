"""Drafts of real relief under invented forest beside that relief: `python -m docs.make_relief_pictures SCENES OUTS`.

SCENES is a folder of scenes of known truth (`SCENE/truth_dem.tif`, `SCENE/truth.gpkg`), OUTS one of their drafts. On
the left stands the true bare earth shaded, with the boulders of 1 m and more (black), knolls (dark orange) and pits
(light) that were put in; on the right the draft over the same shading, in the inks of `docs/make_fault_pictures.py`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio

from docs.over_relief import counts, drawn, features_of, save, side_by_side
from pipeline.lattice.grid import Grid
from pipeline.terrain.relief import shaded_relief

DOCS = Path(__file__).parent
SCENES = ("relief_3506_4", "relief_3507_2", "relief_3506_5", "relief_3506_8")
SIDE_PX = 760
PLANTED = (("boulders", "204", "height", 1.0), ("knolls", "109", "height", 0.0), ("pits", "112", "depth", 0.0))
"""Layer of the truth, symbol it is drawn as, its measure, and from how many metres on it is drawn."""


def main() -> None:
    """Write `docs/relief_SCENE.png` for each scene and print the counts of its draft."""
    scenes, outs = (Path(argument) for argument in sys.argv[1:3])
    for name in SCENES:
        with rasterio.open(scenes / name / "truth_dem.tif") as file:
            heights, transform, crs = file.read(1, masked=True).filled(np.nan), file.transform, str(file.crs)
        grid = Grid.covering(rasterio.transform.array_bounds(*heights.shape, transform), cell_m=transform.a, crs=crs)
        relief = shaded_relief(heights, grid)
        pictures = {
            "true relief, what was put in": drawn(relief, transform, planted(scenes / name), side_px=SIDE_PX),
            "draft over the true relief": drawn(relief, transform, features_of(outs / name), side_px=SIDE_PX),
        }
        save(side_by_side(pictures), DOCS / f"relief_{name.removeprefix('relief_')}.png")
        print(f"\n{name}")
        for kind, told in counts(outs / name).items():
            print(f"| {kind} | {told} |")


def planted(scene: Path) -> gpd.GeoDataFrame:
    """What the truth of a scene says was put in, as features with a symbol."""
    tables = []
    for layer, symbol, measure, least_m in PLANTED:
        table = gpd.read_file(scene / "truth.gpkg", layer=layer)
        tables.append(table[table[measure] >= least_m][["geometry"]].assign(symbol=symbol))
    return gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), geometry="geometry")


if __name__ == "__main__":
    main()
