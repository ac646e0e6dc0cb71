"""What stray low returns do to drafts of real tiles: `python -m tests.benchmarks.stray_features` prints the table.

Each tile is drafted as it is and once more with strays 0.3 to 5 m below the ground, `EVERY_M` apart, so that dozens go
into one draft and none meets the next. Names of tiles of `TILES` as arguments limit it to those. The measuring data are
found through TUSSOCK_DATA.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pandas as pd
import shapely

from pipeline.lattice.grid import EastNorthHeight, Grid
from tests.benchmarks.ground import read_cloud
from tests.benchmarks.strays import NEAR_M, ground_of, plant
from tests.runs import layers_of, tussock, write_area

TILES: dict[str, tuple[str, dict[str, str]]] = {
    "lake_edge": ("lake_edge/*.laz", {}),
    "boreal": ("boreal/*.laz", {"crs": "EPSG:3301"}),
    "lava_forest": ("lava_forest/*.laz", {}),
    "lava_cone": ("real_faults/lava_cone.laz", {}),
    "bc_forest": ("bc_forest/*.laz", {}),
}
"""Real tiles, and what their area files must say."""
EVERY_M = 25.0
"""Distance of the lattice on which strays are planted, eight times as far as one may change something."""
MOVED_M = 1.0
"""How far a feature may lie from where it was and still count as the same: 0.07 mm on a map of 1:15 000, half the width
of its thinnest line."""
SEED = 1


@dataclass(frozen=True)
class Changes:
    """What strays changed in a draft.

    Attributes
    ----------
    n : strays planted
    near : features that came, went or moved within `NEAR_M` of a stray, which they may
    made : of these, features where the draft without strays has none of the symbol
    far : features that came, went or moved farther from every stray, by symbol; "+" for what came
    """

    n: int
    near: int
    made: Counter[str]
    far: Counter[str]


def compared(before: gpd.GeoDataFrame, after: gpd.GeoDataFrame, strays: EastNorthHeight, /) -> Changes:
    """What differs between the features of two drafts, near strays and elsewhere.

    Parameters
    ----------
    before, after : with columns `geometry` and `symbol`
    strays : (n, 3) metres
    """
    places = shapely.union_all(shapely.points(strays[:, :2])).buffer(NEAR_M)
    near, made, far = 0, Counter[str](), Counter[str]()
    for one, other, sign in ((before, after, "-"), (after, before, "+")):
        for symbol, mine in one.groupby("symbol"):
            theirs = _whole(other[other["symbol"] == symbol])
            for feature in mine.geometry:
                rest = shapely.difference(_outline(feature), shapely.buffer(theirs, MOVED_M))
                if rest.is_empty:
                    continue
                if not rest.difference(places).is_empty:
                    far[f"{sign}{symbol}"] += 1
                    continue
                near += 1
                # The distance to nothing is NaN.
                if sign == "+" and not feature.distance(theirs) <= NEAR_M:
                    made[str(symbol)] += 1
    return Changes(len(strays), near, made, far)


def _outline(feature: shapely.Geometry) -> shapely.Geometry:
    """Points and lines as they are, of areas the rim."""
    return shapely.boundary(feature) if shapely.get_dimensions(feature) == 2 else feature


def _whole(features: gpd.GeoDataFrame) -> shapely.Geometry:
    return shapely.union_all([_outline(feature) for feature in features.geometry])


def all_features(out: Path, /) -> gpd.GeoDataFrame:
    """Every feature of a draft that has a symbol."""
    layers = [layer[["symbol", "geometry"]] for layer in layers_of(out).values() if "symbol" in layer]
    return gpd.GeoDataFrame(pd.concat(layers, ignore_index=True), geometry="geometry")


def planted(tiles: list[Path], folder: Path, /) -> EastNorthHeight:
    """(n, 3) strays; the tiles with them are written into the folder, each stray into the tile that it lies in."""
    folder.mkdir(parents=True)
    cloud = read_cloud(*tiles)
    bounds = (cloud.east.min(), cloud.north.min(), cloud.east.max(), cloud.north.max())
    grid = Grid.covering(bounds, cell_m=1.0, crs="survey")
    strays = plant(cloud, ground_of(cloud, grid)[1], grid, seed=SEED, every_m=EVERY_M)
    left = np.ones(len(strays), np.bool_)
    for tile in tiles:
        las = laspy.read(tile)
        inside = left & (strays[:, :2] >= las.header.mins[:2]).all(axis=1)
        inside &= (strays[:, :2] <= las.header.maxs[:2]).all(axis=1)
        left &= ~inside
        _with_strays(las, strays[inside]).write(folder / tile.name)
    return strays[~left]


def _with_strays(las: laspy.LasData, strays: EastNorthHeight) -> laspy.LasData:
    """The tile with single returns of pulses of their own after its own; all else is that of its first returns."""
    more = las.points.array[: len(strays)].copy()
    for axis, name in enumerate("XYZ"):
        more[name] = np.round((strays[:, axis] - las.header.offsets[axis]) / las.header.scales[axis])
    whole = laspy.LasData(las.header)
    both = np.concatenate((las.points.array, more))
    whole.points = laspy.ScaleAwarePointRecord(both, las.point_format, las.header.scales, las.header.offsets)
    new = slice(len(las.points), None)
    whole.return_number[new], whole.number_of_returns[new], whole.classification[new] = 1, 1, 1
    if "gps_time" in set(las.point_format.dimension_names):
        whole.gps_time[new] = np.asarray(las.gps_time).max() + 1 + np.arange(len(strays))
    return whole


def measure(tiles: list[Path], settings: dict[str, str], /) -> Changes:
    """Draft some tiles without and with strays and compare the drafts."""
    with tempfile.TemporaryDirectory(prefix="tussock-strays-") as scratch:
        strays = planted(tiles, Path(scratch) / "tiles")
        drafts = []
        for name, folder in (("before", tiles[0].parent), ("after", Path(scratch) / "tiles")):
            pattern = f"{folder}/{tiles[0].name}" if len(tiles) == 1 else f"{folder}/*.laz"
            area = write_area(Path(scratch) / name, pattern, **settings)
            done = tussock("draft", area, "--cores", "2")
            if done.returncode:
                raise RuntimeError(done.stderr[-2000:])
            drafts.append(all_features(area.parent / "out"))
        return compared(drafts[0], drafts[1], strays)


def main() -> None:
    """Print the table."""
    if "TUSSOCK_DATA" not in os.environ:
        raise SystemExit("Set TUSSOCK_DATA to the folder of the measuring data.")
    data = Path(os.environ["TUSSOCK_DATA"])
    print("tiles: strays planted; changes within 3 m, of them made anew; changes farther away (+ came, - went)")
    for name in sys.argv[1:] or TILES:
        pattern, settings = TILES[name]
        found = measure(sorted(data.glob(pattern)), settings)
        made, far = (", ".join(f"{symbol} x {n}" for symbol, n in sorted(of.items())) for of in (found.made, found.far))
        print(f"{name}: {found.n}; {found.near}, {found.made.total()} made ({made}); {found.far.total()} ({far})")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
