"""How far undergrowth is measured and drawn wrong where plants do not stand as the estimate takes them to.

Run: python -m tests.benchmarks.undergrowth_scenes [--fit]

Forests of `tests.undergrowth_scene` are flown over, classified and drafted as in a run, one for each way in which
plants may stand. The table says for each way by what factor and by how much the density is out, how much of the ground
is put in a wrong band of runnability, how often the truth lies within the stated standard error, and how sure areas
are said to be beside how many are right. Ways and seeds are in two halves: the model's error in
`pipeline.vegetation.running.density` is fitted on the one (`--fit` fits it again) and tried on the other.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import groupby, product

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from rasterio.features import rasterize
from scipy import ndimage, optimize

from pipeline.lattice.grid import Heights
from pipeline.points.classes import classify_returns
from pipeline.settings import PointsSettings, VegetationSettings
from pipeline.terrain.surface import canopy_height
from pipeline.vegetation.areas.evidence import AREA_ERROR_SHARE
from pipeline.vegetation.draft import VegetationDraft, draft_vegetation, limits_of
from pipeline.vegetation.running.density import EXTINCTION_RATIO
from pipeline.vegetation.running.runnability import BAND_OF
from pipeline.vegetation.running.undergrowth import low_part, running_density, view_density
from tests.pulse_scene import Forest, profile_of
from tests.undergrowth_scene import CELL_M, Scene, Way, fly

LIMITS = limits_of(VegetationSettings())
AS_TAKEN = Way()
FITTED_ON = (
    Way("low, 0.3 to 1.2 m", layer_m=(0.3, 1.2)),
    Way("thins out upwards", upwards=1.0),
    Way("in clumps of 1.5 m on half of the ground", share_of_ground=0.5),
    Way("in clumps of 4 m on half of the ground", share_of_ground=0.5, clump_m=4.0),
    Way("leaves lie", leaves="lie"),
    Way("leaves stand", leaves="stand"),
    Way("over heather, 0.3 m", carpet_m=0.3, carpet_density=3.0),
    Way("over bilberry, 0.4 m", carpet_m=0.4, carpet_density=2.0),
    Way("over heather, 0.3 m, flight lines 0.12 m apart", carpet_m=0.3, carpet_density=3.0, lines_apart_m=0.12),
    Way("on a slope of 30 degrees", slope=0.6),
    Way("over heather, 0.5 m, which slows nobody", carpet_m=0.5, carpet_density=2.0, steps_over_m=0.5),
    Way("low shrubs, half of them stepped over", layer_m=(0.3, 0.7), steps_over_m=0.5),
    Way("over brash, 0.3 m, which slows", carpet_m=0.3, carpet_density=2.0, steps_over_m=0.1),
    Way("bushes in clumps over heather", (0.3, 1.5), share_of_ground=0.4, carpet_m=0.3, carpet_density=3.0),
)
TRIED_ON = (
    Way("high, 1.2 to 2.5 m", layer_m=(1.2, 2.5)),
    Way("young trees, 1 to 4 m", layer_m=(1.0, 4.0)),
    Way("thins out downwards", upwards=-1.0),
    Way("in clumps of 1.5 m on a quarter of the ground", share_of_ground=0.25),
    Way("leaves aslant", leaves="aslant"),
    Way("one slow rise from side to side", stand_m=0.0),
    Way("over brush, 0.3 m", carpet_m=0.3, carpet_density=6.0),
    Way(
        "over bilberry, 0.3 m, on 30 degrees, lines apart",
        carpet_m=0.3,
        carpet_density=2.0,
        lines_apart_m=0.12,
        slope=0.6,
    ),
    Way("over fern, 0.7 m, which slows nobody", carpet_m=0.7, carpet_density=1.0, steps_over_m=0.7),
    Way("over bilberry, 0.4 m, which slows nobody", carpet_m=0.4, carpet_density=3.0, steps_over_m=0.4),
    Way("receiver blind for 1.2 m", blind_m=1.2),
    Way("lying leaves thin out upwards over bilberry", (0.1, 2.0), 1.0, leaves="lie", carpet_m=0.4, carpet_density=2.0),
)
FIT_SEEDS, TRY_SEEDS = (1, 2), (11, 12)
SQUARE_M = 5.0
"""Side of the squares that densities and bands are compared on: about what one count of pulses takes in."""
LEAST_DENSITY = 0.1
"""m2/m3: below it a factor says nothing, as the pulses counted decide it."""
LEAST_CELLS = 40


Found = pd.DataFrame
"""Squares or areas, one row each: what is true, what is stated, and whether the band fits."""


@dataclass(frozen=True)
class Drawn:
    """The vegetation of a scene, from the returns up.

    Attributes
    ----------
    draft : VegetationDraft
    low, error : (rows, cols) what of the density stands below eye height, and its error by the number of pulses, m2/m3
    """

    draft: VegetationDraft
    low: Heights
    error: Heights


@cache
def drawn(way: Way, seed: int) -> tuple[Scene, Drawn]:
    """A scene flown, classified and drafted as a run would."""
    scene, settings = fly(way, seed=seed), VegetationSettings()
    classes = classify_returns(scene.cloud, settings=PointsSettings())
    forest = Forest(scene.cloud, classes.asprs_class, classes.height_above_m)
    canopy = canopy_height(scene.cloud, forest.asprs_class, forest.height_m, scene.grid)
    profile, flat = profile_of(forest, scene.grid, settings), np.zeros(scene.grid.shape, np.float32)
    draft = draft_vegetation(profile, flat, canopy, scene.grid, settings=settings)
    edges = {"running_bottom_m": settings.running_bottom_m, "running_top_m": settings.running_top_m}
    counted = {"cell_m": scene.grid.cell_m, "extinction": EXTINCTION_RATIO}
    density, error = running_density(profile, **edges, **counted, window_m=settings.density_window_m)
    top, eye = settings.running_top_m, settings.visibility_bottom_m
    view = view_density(profile, **counted, running_top_m=top, visibility_bottom_m=eye)
    return scene, Drawn(draft, low_part(density, view, **edges, visibility_bottom_m=eye), error)


def squares_of(way: Way, seed: int) -> Found:
    """Squares of SQUARE_M where the layer was seen: density and stated error in m2/m3."""
    scene, found = drawn(way, seed)
    names = ("true", "density", "error")
    grids = (scene.density, found.draft.understorey, found.draft.understorey_error)
    squares = pd.DataFrame({name: in_squares(grid) for name, grid in zip(names, grids, strict=True)}).dropna()
    band = [np.digitize(squares[name], LIMITS) for name in ("true", "density")]
    return squares.assign(is_right=band[0] == band[1])


def in_squares(values: NDArray[np.floating]) -> NDArray[np.float64]:
    """Means over squares of SQUARE_M, flat; NaN where some of it was not seen."""
    k = int(SQUARE_M / CELL_M)
    rows, cols = (size // k for size in values.shape)
    return np.asarray(values.reshape(rows, k, cols, k).mean(axis=(1, 3), dtype=np.float64).ravel())


def areas_of(way: Way, seed: int) -> Found:
    """Areas of forest: mean densities, confidence, and whether most of the ground has in truth the band of the area."""
    scene, found = drawn(way, seed)
    band = np.digitize(ndimage.uniform_filter(scene.density, int(SQUARE_M / CELL_M)), LIMITS)
    features, rows = found.draft.features, []
    for area in features[features["symbol"].isin(BAND_OF)].itertuples():
        inside = rasterize([area.geometry], out_shape=scene.grid.shape, transform=scene.grid.transform).astype(np.bool_)
        if inside.sum() < LEAST_CELLS:
            continue
        grids = (scene.density, found.draft.understorey, found.low, found.error)
        means = [float(np.nanmean(grid[inside])) for grid in grids]
        rows.append((*means, area.confidence, (band[inside] == BAND_OF[area.symbol]).mean() > 0.5))
    return pd.DataFrame(rows, columns=["true", "density", "low", "error", "confidence", "is_right"])


def row_of(name: str, scenes: Sequence[tuple[Way, int]]) -> dict[str, object]:
    """A row of the table, over all squares and all areas of the scenes."""
    squares, areas = (pd.concat([of(*scene) for scene in scenes]) for of in (squares_of, areas_of))
    thick, off = squares[squares["true"] >= LEAST_DENSITY], squares["density"] - squares["true"]
    return {
        "varied": name,
        "factor": round(float(np.exp(np.median(np.log(thick["density"].clip(1e-3) / thick["true"])))), 2),
        "off by, m2/m3": round(float(off.mean()), 2),
        "wrong class": round(1 - float(squares["is_right"].mean()), 2),
        "within 1 error": round(float((off.abs() <= squares["error"]).mean()), 2),
        "within 2": round(float((off.abs() <= 2 * squares["error"]).mean()), 2),
        "areas": len(areas),
        "said to be right": round(float(areas["confidence"].mean()), 2),
        "right": round(float(areas["is_right"].mean()), 2),
    }


def fitted(areas: Found) -> tuple[float, float]:
    """MODEL_SPREAD_RATIO and LOW_SPREAD_RATIO under which the true densities of areas are likeliest."""
    off = np.log(areas["true"].clip(0.01) / areas["density"])
    low, by_pulses = areas["low"] / areas["density"], AREA_ERROR_SHARE * areas["error"] / areas["density"]

    def unlikely(logs: NDArray[np.float64]) -> float:
        variance = np.exp(2 * logs[0]) + (np.exp(logs[1]) * low) ** 2 + by_pulses**2
        return float((np.log(variance) + off**2 / variance).mean())

    model, below = np.exp(optimize.minimize(unlikely, np.log([0.3, 0.3]), method="Nelder-Mead").x)
    return float(model), float(below)


def main(arguments: list[str]) -> None:
    """Print the table, and with --fit the two constants of the model's error."""
    halves = {"fitted on": [*product(FITTED_ON, FIT_SEEDS)], "tried on": [*product(TRIED_ON, TRY_SEEDS)]}
    rows = [row_of(AS_TAKEN.name, [(AS_TAKEN, seed) for seed in FIT_SEEDS + TRY_SEEDS])]
    for title, scenes in halves.items():
        rows += [row_of(way.name, [*own]) for way, own in groupby(scenes, key=lambda scene: scene[0])]
        rows.append(row_of(f"all that it was {title}", scenes))
    print(pd.DataFrame(rows).to_string(index=False))
    if "--fit" in arguments:
        areas = pd.concat([areas_of(*scene) for scene in halves["fitted on"]])
        print("MODEL_SPREAD_RATIO {:.2f}, LOW_SPREAD_RATIO {:.2f}".format(*fitted(areas)))


if __name__ == "__main__":
    main(sys.argv[1:])
