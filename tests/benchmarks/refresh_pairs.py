"""Make an invented place, survey it twice, and say what changed in between.

    python -m tests.benchmarks.refresh_pairs --seed 31 --out FOLDER

FOLDER gets `old/tiles`, then as second surveys `again/tiles` (nothing changed; fewer pulses, shifted), `later/tiles`
(with changes, listed in `later/truth.gpkg`, layer `changes`, in the frame of the second survey), `leaves/tiles`
(nothing changed but that broadleaved trees and undergrowth are in leaf) and `no_boulders/tiles` (all boulders are gone,
whatever their size; their `height_m` stands in its `truth.gpkg`). `shift.json` holds what has to be added to
a place of the old survey to get that of the second one.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage as ndi

from sample_tiles.scene.fields import Metres, distance_to_line
from sample_tiles.scene.objects import add_building
from sample_tiles.scene.place import Place, make_place
from sample_tiles.scene.plants import stem_index
from sample_tiles.scene.pulses import fly
from sample_tiles.scene.records import CRS, join, write_tiles
from sample_tiles.scene.terrain import add_bench

SIZE_M, TILE_M, BASE_M = 300.0, 150.0, 285.0
CORNER = (549_000.0, 5_709_000.0)
"""South-west corner of the first survey, in the scenes' own CRS."""
LEAF_GAIN = 1.7
"""How many times as dense broadleaved crowns and undergrowth are in leaf as without (our choice: the plant-area index
of temperate broadleaved forest is 1 to 2 without leaves and 4 to 6 with them, but buds and twigs stay)."""
Change = tuple[str, shapely.Polygon, float]
"""Kind, outline in metres from the corner of the place, and height in metres (NaN but for boulders)."""
HIDING_M = 1.0
"""Boulders lower than this are not taken away: no survey of this density shows them all."""


def main() -> None:
    """Write one place and its second surveys."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--pulses", type=float, nargs=2, default=(7.0, 5.0), help="a square metre, first and second")
    parser.add_argument("--shift", type=float, nargs=3, default=(0.4, -0.3, -0.15), help="east, north, up in metres")
    chosen = parser.parse_args()
    write_pair(chosen.seed, chosen.out, pulses=chosen.pulses, shift=chosen.shift)


def write_pair(seed: int, out: Path, /, *, pulses: tuple[float, float], shift: tuple[float, float, float]) -> None:
    """Write the tiles of the first and of every second survey, and the truth."""
    place = make_place(seed=seed, size_m=SIZE_M)
    _survey(place, seed, pulses[0], out / "old" / "tiles", CORNER, BASE_M)
    corner = (CORNER[0] + shift[0], CORNER[1] + shift[1])
    seconds = {
        "again": (copy.deepcopy(place), []),
        "later": changed(place, seed),
        "leaves": (in_leaf(place), []),
        "no_boulders": without_boulders(place),
    }
    for number, (name, (second, changes)) in enumerate(seconds.items()):
        _survey(second, seed + 1000 + number, pulses[1], out / name / "tiles", corner, BASE_M + shift[2])
        table = gpd.GeoDataFrame(
            {"kind": [kind for kind, *_ in changes], "height_m": [height_m for _, _, height_m in changes]},
            geometry=[shapely.transform(shape, lambda xy: xy + np.array(corner)) for _, shape, _ in changes],
            crs=CRS,
        )
        table.to_file(out / name / "truth.gpkg", layer="changes")
    (out / "shift.json").write_text(json.dumps(list(shift)), encoding="utf-8")


def _survey(
    place: Place, seed: int, pulses_per_m2: float, folder: Path, corner: tuple[float, float], base_m: float
) -> None:
    returns = join(fly(place, seed=seed, pulses_per_m2=pulses_per_m2))
    write_tiles(returns, folder, origin=corner, size_m=SIZE_M, tile_m=TILE_M, base_m=base_m)


def in_leaf(place: Place, /) -> Place:
    """The same place with more leaves: broadleaved crowns and all undergrowth are denser."""
    found = copy.deepcopy(place)
    found.plants.volume = np.minimum(found.plants.volume * LEAF_GAIN, 255).astype(np.uint8)
    found.plants.clumped = (found.plants.clumped * LEAF_GAIN).astype(np.float32)
    return found


def without_boulders(place: Place, /) -> tuple[Place, list[Change]]:
    """The place with all its boulders gone."""
    found = copy.deepcopy(place)
    return found, _take_away(found, list(range(len(found.solids.boulders))))


def changed(place: Place, seed: int, /) -> tuple[Place, list[Change]]:
    """The place some years later, and what changed in it."""
    found = copy.deepcopy(place)
    rng = np.random.default_rng([seed, 77])
    taken: list[shapely.Polygon] = [shapely.Polygon(line).buffer(4) for line, _ in found.solids.buildings]
    changes: list[Change] = []

    def put(kind: str, shape: shapely.Polygon) -> None:
        changes.append((kind, shape, math.nan))
        taken.append(shape.buffer(4))

    put("felled", _fell(found, rng, taken))
    put("thicker", _thicken(found, rng, taken))
    put("house", _build(found, rng, taken))
    put("dug", _dig(found, rng, taken))
    put("track", _make_track(found, rng, taken))
    changes += _take_boulders(found, rng, taken)
    return found, changes


def _free(rng: np.random.Generator, taken: list[shapely.Polygon], half_m: float, wanted: NDArray[np.bool_]) -> Metres:
    """A place with that much room around, with as much of what is wanted as can be had."""
    best, chosen = -1.0, np.array([SIZE_M, SIZE_M]) / 2
    for x, y in rng.uniform(half_m + 6, SIZE_M - half_m - 6, (300, 2)):
        if any(shape.intersects(shapely.box(x - half_m, y - half_m, x + half_m, y + half_m)) for shape in taken):
            continue
        rows, cols = (slice(int((v - half_m + 32) * 2), int((v + half_m + 32) * 2)) for v in (y, x))
        share = float(wanted[rows, cols].mean())
        if share > best:
            best, chosen = share, np.array([x, y])
    return chosen


def _inside(place: Place, shape: shapely.Polygon) -> NDArray[np.bool_]:
    lattice = place.lattice
    x, y = np.meshgrid(lattice.x[0], lattice.y[:, 0])
    return np.asarray(shapely.contains_xy(shape, x, y))


def _clear(place: Place, cells: NDArray[np.bool_]) -> None:
    """Take away all that grows in these cells."""
    plants = place.plants
    plants.volume[cells.ravel()] = 0
    plants.clumped[cells] *= 0.0
    where = place.lattice.index(plants.stems[:, 0], plants.stems[:, 1])
    plants.stems = plants.stems[~cells.ravel()[where]]
    plants.stem_of = stem_index(place.lattice, plants.stems)


def _fell(place: Place, rng: np.random.Generator, taken: list[shapely.Polygon]) -> shapely.Polygon:
    x, y = _free(rng, taken, 30, place.openness == 0)
    shape = shapely.box(x - rng.uniform(22, 30), y - rng.uniform(22, 30), x + 25, y + 25)
    _clear(place, _inside(place, shape))
    return shape


def _thicken(place: Place, rng: np.random.Generator, taken: list[shapely.Polygon]) -> shapely.Polygon:
    thin = (place.openness == 0) & (place.plants.truth < 0.3)
    x, y = _free(rng, taken, 28, thin)
    shape = shapely.Point(x, y).buffer(rng.uniform(24, 30))
    cells = _inside(place, shape)
    place.plants.clumped[cells] = np.maximum(place.plants.clumped[cells], 0) + np.float32(rng.uniform(0.7, 1.1))
    return shape


def _build(place: Place, rng: np.random.Generator, taken: list[shapely.Polygon]) -> shapely.Polygon:
    x, y = _free(rng, taken, 10, place.openness >= 1)
    length, width = rng.uniform(9, 13), rng.uniform(7, 10)
    turn = float(rng.uniform(0, np.pi))
    add_building(place.solids, place.ground, x, y, (length, width, 3.6), turn, wing=False)
    shape = shapely.Polygon(place.solids.buildings[-1][0])
    _clear(place, _inside(place, shape.buffer(1.0)))
    return shape


def _dig(place: Place, rng: np.random.Generator, taken: list[shapely.Polygon]) -> shapely.Polygon:
    x, y = _free(rng, taken, 16, place.openness >= 0)
    radius_m, depth_m = rng.uniform(9, 14), rng.uniform(1.2, 2.5)
    shape = shapely.Point(x, y).buffer(radius_m)
    d = np.hypot(place.lattice.x - x, place.lattice.y - y)
    place.ground.height -= (depth_m * np.clip((radius_m - d) / 2.5, 0, 1)).astype(np.float32)
    return shape


def _make_track(place: Place, rng: np.random.Generator, taken: list[shapely.Polygon]) -> shapely.Polygon:
    best: shapely.LineString | None = None
    for _ in range(400):
        ends = rng.uniform(15, SIZE_M - 15, (2, 2))
        bend = ends.mean(axis=0) + rng.normal(0, 12, 2)
        line = shapely.LineString([ends[0], bend, ends[1]])
        strip = line.buffer(4)
        if 90 < line.length < 150 and not any(strip.intersects(shape) for shape in taken):
            best = line
            break
    if best is None:
        raise RuntimeError("no room for a track")
    line = np.array([best.interpolate(d).coords[0] for d in np.arange(0, best.length, 3.0)])
    line = ndi.gaussian_filter1d(line, 3, axis=0, mode="nearest")
    add_bench(place.ground, line, 3.6)
    near, _ = distance_to_line(place.lattice, line, 4.0)
    _clear(place, np.abs(np.where(np.isfinite(near), near, 99)) <= 1.9)
    return shapely.LineString(line).buffer(1.9)


def _take_boulders(place: Place, rng: np.random.Generator, taken: list[shapely.Polygon]) -> list[Change]:
    boulders = place.solids.boulders
    may = [k for k, (x, y, h, _) in enumerate(boulders) if h >= HIDING_M and not _within(taken, x, y)]
    return _take_away(place, list(set(rng.choice(may, min(8, len(may)), replace=False).tolist())))


def _take_away(place: Place, gone: list[int]) -> list[Change]:
    """Take these boulders out of the place."""
    solids = place.solids
    fine, found = solids.fine, list[Change]()
    for k in gone:
        x, y, height_m, radius = solids.boulders[k]
        rows, cols = fine.window(x, y, radius * 1.45)
        cells = np.hypot(fine.x[:, cols] - x, fine.y[rows] - y) < radius * 1.45
        solids.height[rows, cols] = np.where(cells, 0, solids.height[rows, cols])
        found.append(("boulder gone", shapely.Point(x, y).buffer(radius), float(height_m)))
    solids.boulders[:] = [one for k, one in enumerate(solids.boulders) if k not in gone]
    return found


def _within(taken: list[shapely.Polygon], x: float, y: float) -> bool:
    return any(shape.contains(shapely.Point(x, y)) for shape in taken)


if __name__ == "__main__":
    main()
