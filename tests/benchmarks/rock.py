"""Measure the rock of the draft.

    python -m tests.benchmarks.rock WHAT

planted [SEED] recall and false boulders in real tiles (TUSSOCK_DATA); seeds of the planting, 11 and 12 unless told
missed         why each boulder that was missed was missed (TUSSOCK_DATA)
made           recall, precision, height and calibration in made scenes
confusion      boulders against bushes, stumps, piles and huts
density        recall by pulse density and canopy, written to config/
cost           processor seconds a square kilometre, in dense conifers at 8 pulses/m2 (TUSSOCK_DATA)
profiles OUT   the likeliest boulders of the forest tiles, as pictures (TUSSOCK_DATA)

Made scenes come from the project's own scene maker; those used to fit and those used to judge have different seeds.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.lattice.grid import Grid
from pipeline.norm.symbols import isom
from pipeline.points.classes import classify_returns
from pipeline.returns.cloud import Cloud
from pipeline.rock.boulders.boulders import LEAST_HEIGHT_M, REACH_M, find_boulders
from pipeline.rock.boulders.company import HEIGHT_ERROR_M, in_company, worth_drawing
from pipeline.rock.boulders.confidence import LEAST_RETURNS, is_likely
from pipeline.rock.boulders.first_look import look_at
from pipeline.rock.boulders.low_returns import Floats, low_returns
from pipeline.rock.boulders.lumps import find_lumps
from pipeline.rock.draft import draft_rock
from pipeline.settings import PointsSettings
from pipeline.shipped import BOULDER_RECALL
from tests.benchmarks.rock_cliffs import ground_of
from tests.benchmarks.rock_scenes import (
    OPEN_KINDS,
    SETTINGS,
    Scene,
    folder_scene,
    made_scene,
    open_scene,
    planted_scene,
    read_tile,
    thinned,
)
from tests.benchmarks.rock_shapes import Planted

PLANTED_SEEDS = (11, 12)
"""Seeds of the planting in real tiles that nothing was fitted to."""
COST_PULSES_PER_M2, TILE_PULSES_PER_M2 = 8.0, 9.7
"""Density the cost is told for, and that of the conifer tiles (counted)."""
JUDGE_MADE = ((31, 8.0), (32, 4.0), (33, 8.0), (34, 2.0), (35, 16.0), (36, 8.0), (37, 4.0))
"""Seed and pulses/m2 of the made scenes that nothing was fitted to."""


def believed(scene: Scene) -> gpd.GeoDataFrame:
    """Every candidate of a scene, as sure as the draft would say it is."""
    table = find_boulders(scene.cloud, scene.asprs_class, scene.height_above_m, scene.grid)
    return in_company(table, np.ones(scene.grid.shape, bool), scene.grid)


def drawn(scene: Scene) -> gpd.GeoDataFrame:
    """Boulders of a scene that the draft would draw, before they are grouped."""
    return sure_enough(believed(scene)).reset_index(drop=True)


def sure_enough(candidates: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The candidates that the draft would draw with the settings as they are shipped."""
    return worth_drawing(
        candidates,
        least_confidence=SETTINGS.least_boulder_confidence,
        least_thicket_confidence=SETTINGS.least_thicket_confidence,
    )


def nearest_thing(table: gpd.GeoDataFrame, scene: Scene) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Nearest known object of each row and how far its edge (at least 1 m from its middle) is."""
    places = np.array([(t.east, t.north) for t in scene.things]).reshape(-1, 2)
    radius = np.array([max(t.width_m, t.length_m, 2.0) / 2 for t in scene.things])
    if not len(table) or not len(places):
        return np.full(len(table), -1), np.full(len(table), np.inf)
    apart, i = cKDTree(places).query(np.column_stack((table.geometry.x, table.geometry.y)))
    return i, np.maximum(apart - radius[i], 0)


def planted() -> None:
    """Recall of planted boulders, and false boulders before planting, in real tiles."""
    rows = []
    for name in ("bc_1", "bc_2", "bc_3", "lava", "boreal"):
        before = planted_scene(name, 0, with_things=False)
        false = len(drawn(before))
        for seed in [int(text) for text in sys.argv[2:]] or PLANTED_SEEDS:
            scene = planted_scene(name, seed)
            boulders = drawn(scene)
            i, beyond = nearest_thing(boulders, scene)
            met = set(i[beyond <= 1.0])
            is_asked = [
                t.kind == "boulder" and t.height_m >= 1 and reach >= 2
                for t, reach in zip(scene.things, scene.reaching_per_m2, strict=True)
            ]
            asked = np.flatnonzero(is_asked)
            bushes = [k for k, t in enumerate(scene.things) if t.kind == "bush"]
            error = [
                abs(boulders.height_m[row] - scene.things[k].height_m)
                for row, k in enumerate(i)
                if beyond[row] <= 1.0 and scene.things[k].kind == "boulder"
            ]
            rows.append(
                {
                    "tile": name,
                    "seed": seed,
                    "boulders": len(asked),
                    "recall": np.mean([k in met for k in asked]) if len(asked) else np.nan,
                    "bushes taken": np.mean([k in met for k in bushes]),
                    "height error m": np.median(error) if error else np.nan,
                    "drawn before planting per ha": false / before.hectares,
                }
            )
    table = pd.DataFrame(rows)
    print(table.round(2).to_string(index=False))
    forest = table.tile.str.split("_").str[0]
    print((table.boulders * table.recall).groupby(forest).sum() / table.boulders.groupby(forest).sum())


def missed() -> None:
    """Why boulders from 1 m are missed, before they are grouped: counts a scene, and the evidence of the refused."""
    makers = [
        *(lambda name=name: folder_scene(name) for name in ("scene_a", "scene_b")),
        *(lambda seed=seed, per_m2=per_m2: made_scene(seed, per_m2) for seed, per_m2 in JUDGE_MADE),
        *(lambda name=name: planted_scene(name, 11) for name in ("bc_1", "bc_2", "bc_3", "lava", "boreal")),
    ]
    rows = []
    for make in makers:
        scene = make()
        asked = [
            thing
            for thing, reach in zip(scene.things, scene.reaching_per_m2, strict=True)
            if thing.kind == "boulder" and thing.height_m >= 1 and (reach >= 2 or not scene.is_planted)
        ]
        rows += [{"scene": scene.name, "why": why} for why in reasons(scene, asked)]
    table = pd.DataFrame(rows)
    print(pd.crosstab(table.scene, table.why, margins=True).to_string())


def reasons(scene: Scene, asked: list[Planted]) -> list[str]:
    """What became of each boulder: met, or the first stage at which nothing of it was left."""
    believes = np.isfinite(scene.height_above_m) & ~np.isin(scene.asprs_class, (6, 7, 18))
    near = scene.grid.pad(REACH_M)
    low = low_returns(scene.cloud.take(believes), scene.height_above_m[believes], near)
    lumps = find_lumps(low, near)
    likely = lumps.take(is_likely(look_at(low, lumps)))
    kept = believed(scene)
    chosen = sure_enough(kept)
    roofs = scene.cloud.take(scene.asprs_class == 6)
    least_m = isom("204").smallest.height_m - HEIGHT_ERROR_M
    found = []
    for thing in asked:
        reach = max(thing.width_m, thing.length_m, 2.0) / 2

        def has(east: Floats, north: Floats, within_m: float, thing: Planted = thing) -> bool:
            return bool((np.hypot(east - thing.east, north - thing.north) <= within_m).any())

        on = np.hypot(low.east - thing.east, low.north - thing.north) < 0.85 * reach
        n_on = int((on & low.is_last & (low.above_m > 0.4 * thing.height_m)).sum())
        tall = kept[kept.height_m >= least_m]
        if has(chosen.geometry.x, chosen.geometry.y, reach + 1.0):
            found.append("met")
        elif len(roofs) and has(roofs.east, roofs.north, 0.7 * reach):
            found.append("1 taken for a building")
        elif n_on < LEAST_RETURNS:
            found.append("2 under 3 returns on it")
        elif not has(lumps.east, lumps.north, 0.7 * reach):
            found.append("3 no disc")
        elif not has(likely.east, likely.north, 0.7 * reach):
            found.append("4 first look")
        elif not has(kept.geometry.x, kept.geometry.y, reach):
            found.append("5 like a boulder under 1 in 50, or overlapped")
        else:
            found.append("7 not sure enough" if has(tall.geometry.x, tall.geometry.y, reach) else "6 measured too low")
    return found


def made() -> None:
    """Recall, precision, heights and calibration in made scenes that nothing was fitted to."""
    rows, sure, true = [], [], []
    for seed, per_m2 in JUDGE_MADE:
        scene = made_scene(seed, per_m2)
        start = time.perf_counter()
        every = believed(scene)
        seconds = time.perf_counter() - start
        i, beyond = nearest_thing(every, scene)
        tall = np.array([t.height_m for t in scene.things])
        is_true = (beyond <= 2.0) & (tall[i] >= LEAST_HEIGHT_M)
        is_drawn = every.index.isin(sure_enough(every).index)
        met = set(i[is_true & is_drawn])
        asked = np.flatnonzero(tall >= 1)
        error = np.abs(every.height_m - tall[i])[is_true & is_drawn]
        rows.append(
            {
                "scene": scene.name,
                "pulses per m2": per_m2,
                "boulders": len(asked),
                "recall": np.mean([k in met for k in asked]),
                "precision": is_true[is_drawn].mean(),
                "height error m": np.median(error),
                "us per return": seconds / len(scene.cloud) * 1e6,
            }
        )
        sure.append(every.confidence.to_numpy())
        true.append(is_true)
    print(pd.DataFrame(rows).round(2).to_string(index=False))
    print_calibration(np.concatenate(sure), np.concatenate(true))


def print_calibration(sure: NDArray[np.float64], true: NDArray[np.bool_]) -> None:
    """Expected calibration error over ten bins: of all candidates, and of those drawn."""
    for name, least in (("all candidates", 0.0), ("drawn", SETTINGS.least_boulder_confidence)):
        chosen = sure >= least
        bins = np.minimum((sure[chosen] * 10).astype(int), 9)
        n = np.bincount(bins, minlength=10)
        said = np.bincount(bins, weights=sure[chosen], minlength=10) / np.maximum(n, 1)
        was = np.bincount(bins, weights=true[chosen].astype(float), minlength=10) / np.maximum(n, 1)
        print(f"expected calibration error, {name}: {float(n @ np.abs(said - was)) / n.sum():.3f}")
        if least == 0.0:
            print(pd.DataFrame({"n": n, "said": said, "was": was}).round(2).T.to_string())


def confusion() -> None:
    """What becomes of boulders, juniper-like bushes, stumps, root plates, log piles and huts of the same sizes."""
    rows = []
    for seed in (51, 52):
        scene = open_scene(seed, 8.0, OPEN_KINDS, canopy=0.4)
        table = drawn(scene)
        i, beyond = nearest_thing(table, scene)
        met = set(i[beyond <= 1.0])
        rows += [
            {"kind": t.kind if t.kind != "boulder" or t.height_m >= 1 else "boulder under 1 m", "drawn": k in met}
            for k, t in enumerate(scene.things)
        ]
        rows += [{"kind": "nothing there", "drawn": True}] * int((beyond > 1.0).sum())
    table = pd.DataFrame(rows).groupby("kind").drawn.agg(["size", "sum", "mean"])
    print(table.rename(columns={"size": "n", "sum": "drawn as boulders", "mean": "share"}).round(2).to_string())


def density() -> None:
    """Recall of boulders from 1 m by pulse density and share of pulses that crowns stop; written to config/.

    A row tells of 204, boulders of 1 to 2 m, or of 205, those from 2 m; 9 m is higher than any that is planted.
    """
    rows = []
    for per_m2 in (1.0, 2.0, 4.0, 8.0, 16.0):
        for canopy in (0.0, 0.3, 0.5, 0.7):
            scene = open_scene(61, per_m2, {"boulder": 120}, canopy=canopy)
            table = drawn(scene)
            i, beyond = nearest_thing(table, scene)
            met = set(i[beyond <= 1.0])
            tall = np.array([t.height_m for t in scene.things])
            for name, low, high in (("204", 1.0, 2.0), ("205", 2.0, 9.0)):
                asked = np.flatnonzero((tall >= low) & (tall < high))
                recall = float(np.mean([k in met for k in asked]))
                rows.append(
                    {
                        "pulses_per_m2": per_m2,
                        "canopy_share": canopy,
                        "symbol": name,
                        "recall": round(recall, 2),
                        "n": len(asked),
                    }
                )
    print(pd.DataFrame(rows).pivot_table(index=["symbol", "pulses_per_m2"], columns="canopy_share", values="recall"))
    made_by = "python -m tests.benchmarks.rock density"
    text = json.dumps({"made_by": made_by, "what": "share of boulders that the draft finds", "rows": rows}, indent=1)
    BOULDER_RECALL.write_text(text + "\n", encoding="utf-8")


def cost() -> None:
    """Processor seconds that finding boulders and drawing the rock take, by area with returns in it.

    Brightness is left out: bare rock is looked for only where open ground is dark, and there is none here.
    """
    share = COST_PULSES_PER_M2 / TILE_PULSES_PER_M2
    cloud = Cloud.join([thinned(read_tile(name), share) for name in ("bc_1", "bc_2", "bc_3")])
    classes = classify_returns(cloud, settings=PointsSettings())
    ground = ground_of(cloud)
    canopy = np.zeros(ground.grid.shape, np.float32)
    seen = Grid.covering(ground.grid.bounds, cell_m=5.0, crs=ground.grid.crs)
    km2 = len(np.unique(seen.cell_index(cloud.east, cloud.north))) * 25 / 1e6
    start = time.process_time()
    found = find_boulders(cloud, classes.asprs_class, classes.height_above_m, ground.grid)
    between = time.process_time()
    draft_rock(
        found,
        ground.bare_earth,
        ground.support,
        canopy,
        ground.grid,
        lowest=ground.lowest,
        settings=SETTINGS,
    )
    end = time.process_time()
    print(f"{cloud.is_last.sum() / km2 / 1e6:.1f} pulses/m2, {km2:.3f} km2; processor seconds a km2, on two cores half")
    print(f"boulders {(between - start) / km2:.1f}, the rest of the rock {(end - between) / km2:.1f}")


def profiles() -> None:
    """Cross-sections through the twenty likeliest boulders of the forest tiles, as one picture."""
    from PIL import Image, ImageDraw

    out = Path(sys.argv[2])
    found = []
    for name in ("bc_1", "bc_2", "bc_3"):
        scene = planted_scene(name, 0, with_things=False)
        table = drawn(scene)
        found += [(row.confidence, name, row, scene) for row in table.itertuples()]
    found.sort(key=lambda one: -one[0])
    width, height, scale = 300, 200, 25
    sheet = Image.new("RGB", (5 * width, 4 * height), "white")
    pen = ImageDraw.Draw(sheet)
    for k, (sure, name, row, scene) in enumerate(found[:20]):
        cloud = scene.cloud
        left, top = (k % 5) * width, (k // 5) * height
        near = (np.abs(cloud.east - row.geometry.x) < 5.5) & (np.abs(cloud.north - row.geometry.y) < 0.8)
        x = left + width / 2 + (cloud.east[near] - row.geometry.x) * scale
        y = top + height - 50 - (cloud.height[near] - row.elevation_m) * scale
        for px, py, last in zip(x, y, cloud.is_last[near], strict=True):
            if top < py < top + height - 2:
                pen.ellipse((px - 2, py - 2, px + 2, py + 2), fill="black" if last else "green")
        pen.rectangle((left, top, left + width - 1, top + height - 1), outline="grey")
        pen.text(
            (left + 5, top + 4), f"{k + 1} {name} p {sure:.2f} h {row.height_m:.1f} w {row.width_m:.1f}", fill="red"
        )
        print(k + 1, name, f"{row.geometry.x:.1f} {row.geometry.y:.1f}", f"{sure:.2f}", row.evidence)
    sheet.save(out)


if __name__ == "__main__":
    {
        "planted": planted,
        "missed": missed,
        "made": made,
        "confusion": confusion,
        "density": density,
        "cost": cost,
        "profiles": profiles,
    }[sys.argv[1]]()
