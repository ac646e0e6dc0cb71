"""What composing and drawing a large draft cost: `python -m tests.benchmarks.composing NAME=OUT ... [--profile]`.

OUT is the folder of a draft that was made with `--keep`. The features of its sections, as they are before composing,
are laid side by side until they fill a square, every other copy mirrored, so that lines and areas go on across the
seams as they do across the borders of fields. The two steps then run as in a draft, one after the other.
"""

from __future__ import annotations

import cProfile
import json
import pstats
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import affinity
from shapely.geometry import Polygon, box

from pipeline.files import layers
from pipeline.settings import DrawingSettings, RockSettings, SheetSettings, VegetationSettings
from pipeline.steps.area.compose import BY_FIELD, OF_AREA, compose
from pipeline.steps.area.sheet import sheet
from tests.benchmarks.results import Table

SIDE_M = 2000
"""Side of the square in metres: four square kilometres."""
COLUMNS = [
    "copies of",
    "km2",
    "features found",
    "features drafted",
    "composing, s",
    "drawing, s",
    "together, s",
    "processor, s",
]
SLOPE_LINE = "101.1"
"""A slope line begins on its contour in a mirrored copy too."""


def composed_and_drawn(drafts: Mapping[str, Path], /, *, side_m: int = SIDE_M, profile: bool = False) -> Table:
    """Seconds of the two steps for a square of copies of each draft, by the name of the draft."""
    rows = []
    for name, out in drafts.items():
        with tempfile.TemporaryDirectory(prefix="tussock-composing-") as folder:
            rows.append([name, *_costs(out, Path(folder), side_m, profile=profile)])
    return Table("", COLUMNS, rows)


def _costs(out: Path, folder: Path, side_m: int, *, profile: bool) -> list[str]:
    """All but the first of COLUMNS."""
    area = json.loads((out / "manifest.json").read_text(encoding="utf-8"))["area"]
    n_found = lay_features(out, folder, side_m=side_m)
    report, draft = out / "report", folder / "draft.gpkg"
    composing_s, composing_cpu_s = _seconds(
        lambda: compose(
            features=folder / "features",
            plan=folder / "plan.json",
            outline=folder / "outline.gpkg",
            survey=report / "survey.json",
            out=draft,
            left_out=folder / "left_out.csv",
            disagreements=folder / "disagreements.csv",
            marks=[],
            written=folder / "as_written.gpkg",
            map_date=area["map_date"],
            drawing=DrawingSettings(),
            rock=RockSettings(),
            vegetation=VegetationSettings(),
        ),
        profile=profile,
    )
    drawing_s, drawing_cpu_s = _seconds(
        lambda: sheet(
            draft=draft,
            outline=folder / "outline.gpkg",
            survey=report / "survey.json",
            season=report / "leaf_season.json",
            borrowed=report / "borrowed.json",
            pdf=folder / "sheet.pdf",
            png=folder / "sheet.png",
            tif=folder / "sheet.tif",
            grid_north=folder / "grid_north.tif",
            name=area["name"],
            map_date=area["map_date"],
            scale=area["scale"],
            interval_m=area["contour_interval_m"],
            language="en",
            settings=SheetSettings(),
        ),
        profile=profile,
    )
    n_drafted = sum(layers.count_features(draft).values())
    times = (composing_s, drawing_s, composing_s + drawing_s, composing_cpu_s + drawing_cpu_s)
    seconds = [f"{value:.1f}" for value in times]
    return [f"{side_m**2 / 1e6:.0f}", str(n_found), str(n_drafted), *seconds]


def _seconds(run: Callable[[], None], *, profile: bool) -> tuple[float, float]:
    """Seconds by the clock on the wall and of the processors, which other work on the machine lengthens less.

    With `profile` it prints where they went, which takes longer.
    """
    profiler, start = cProfile.Profile(), time.perf_counter()
    busy = time.process_time()
    if profile:
        profiler.runcall(run)
        pstats.Stats(profiler).sort_stats("cumulative").print_stats(45)
    else:
        run()
    return time.perf_counter() - start, time.process_time() - busy


# ---------------------------------------------------------------- copies side by side


def lay_features(out: Path, folder: Path, /, *, side_m: int) -> int:
    """Write what the step of composing reads, for a square of copies of a draft: how many features there are.

    Each copy is a field of its own, whose side is the shorter one of the draft's area in whole metres.
    """
    outline, crs = layers.read_outline(out / "work" / "outline.gpkg")
    west, south, east, north = outline.bounds
    field_m = int(min(east - west, north - south))
    cell = box(west, south, west + field_m, south + field_m)
    # Borders of fields lie on whole multiples of their side.
    corner = np.round(np.array([west, south]) / field_m) * field_m
    n = -(-side_m // field_m)
    copies = {f"{col}_{row}": (col, row) for row in range(n) for col in range(n)}
    square = gpd.GeoDataFrame(geometry=[box(*corner, *(corner + side_m))], crs=crs)
    layers.write_layers(folder / "outline.gpkg", {"outline": square, "covered": square})
    (folder / "plan.json").write_text(json.dumps({"fields": dict.fromkeys(copies, ""), "field_m": field_m}))
    kept, laid, n_found = out / "work" / "features", folder / "features", 0
    for section in (*BY_FIELD, *OF_AREA):
        files = sorted((kept / section).glob("*.gpkg")) if section in BY_FIELD else [kept / f"{section}.gpkg"]
        if len(files) != 1:
            raise SystemExit(f"{kept / section}: only a draft of one field can be copied")
        (laid / section).mkdir(parents=True)
        features = _cut(layers.read_features(files[0]), cell)
        made = {name: _copy(features, cell, corner, at) for name, at in copies.items()}
        n_found += sum(map(len, made.values()))
        for name, copy in made.items() if section in BY_FIELD else ():
            layers.write_features(laid / section / f"{name}.gpkg", copy)
        if section in OF_AREA:
            every = pd.concat(list(made.values()), ignore_index=True)
            layers.write_features(laid / f"{section}.gpkg", every)
    shutil.copy(kept / "borrowed.gpkg", laid / "borrowed.gpkg")
    return n_found


def _cut(features: gpd.GeoDataFrame, cell: Polygon) -> gpd.GeoDataFrame:
    """What of the features lies in the square, without points that lines and areas only touch it with."""
    dimension = shapely.get_dimensions(features.geometry.to_numpy())
    cut = features.assign(geometry=shapely.intersection(features.geometry.to_numpy(), cell), _dimension=dimension)
    cut = cut.explode(ignore_index=True)
    is_same = shapely.get_dimensions(cut.geometry.to_numpy()) == cut["_dimension"].to_numpy()
    return cut[is_same & ~cut.geometry.is_empty].drop(columns="_dimension").reset_index(drop=True)


def _copy(features: gpd.GeoDataFrame, cell: Polygon, corner: np.ndarray, at: tuple[int, int]) -> gpd.GeoDataFrame:
    """The features of the square as they lie in the copy of this column and row; odd ones are mirrored."""
    east, north = (-1 if number % 2 else 1 for number in at)
    field_m = cell.bounds[2] - cell.bounds[0]
    step = corner - np.array(cell.bounds[:2]) + field_m * np.array(at)
    shapes = []
    for shape, symbol in zip(features.geometry, features["symbol"], strict=True):
        laid = affinity.translate(affinity.scale(shape, east, north, origin=cell.centroid), *step)
        # Mirrored once, a line has its upper side on the other hand.
        is_turned = east * north < 0 and laid.geom_type == "LineString" and symbol != SLOPE_LINE
        shapes.append(shapely.reverse(laid) if is_turned else laid)
    angle_deg = (180 - features["angle_deg"] if north < 0 else features["angle_deg"]) * east % 360
    return features.assign(geometry=gpd.GeoSeries(shapes, index=features.index, crs=features.crs), angle_deg=angle_deg)


if __name__ == "__main__":
    named = dict(text.split("=", 1) for text in sys.argv[1:] if "=" in text)
    made = composed_and_drawn({name: Path(out) for name, out in named.items()}, profile="--profile" in sys.argv)
    print("\n".join(made.as_markdown()))
