"""How sure drafts of made scenes are of ponds and single trees.

Run: python -m tests.benchmarks.scene_confidence SCENE OUT ...

SCENE is a folder with the truth of a made scene (`truth_pond.tif`, `truth_open.tif`, and beside each tile where each
of its returns is from), OUT the folder of a run on it. Standing water is right where at least half of what is drawn is
a pond of the truth. A single tree is right where crowns of the truth stand and most of the ground around is open land;
the scenes list no trees, so what is missed is not told.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import laspy
import numpy as np
import pyogrio
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.features import geometry_mask
from scipy.spatial import cKDTree

from tests.benchmarks.reliability import reliability_line

KINDS = {"pond": ("301", "302", "303"), "tree": ("417", "418")}
SHORE_M = 3.0
"""A waterhole that is drawn as a point stands for this much ground around."""
CROWN, UNDERSTOREY = 5, 4
"""Where returns are from, by the truth of the scenes."""
CROWN_M, AROUND_M = 2.0, 10.0
"""Distance within which a crown stands, and within which the ground around it must be open land: a runner sees a tree
stand alone when there is nothing for two widths of its crown (our choice)."""
OPEN_SHARE = 0.5


@dataclass(frozen=True)
class Cells:
    """Cells of the truth that have something, and where they lie."""

    has: NDArray[np.bool_]
    transform: rasterio.Affine

    @classmethod
    def read(cls, path: Path) -> Cells:
        """Of a raster of the truth: cells with more than half of it."""
        with rasterio.open(path) as source:
            return cls(source.read(1) > 0.5, source.transform)

    def share(self, shape: shapely.Geometry) -> float:
        """How much of a shape has it; 0 outside the scene."""
        inside = geometry_mask([shape], self.has.shape, self.transform, invert=True, all_touched=True)
        return float(self.has[inside].mean()) if inside.any() else 0.0


def drawn(out: Path, symbols: tuple[str, ...]) -> gpd.GeoDataFrame:
    """What a run drew with some symbols."""
    draft = out / "draft.gpkg"
    layers = [gpd.read_file(draft, layer=name) for name in pyogrio.list_layers(draft)[:, 0]]
    found = [layer[layer["symbol"].isin(symbols)][["confidence", "geometry"]] for layer in layers if "symbol" in layer]
    return gpd.GeoDataFrame(
        {"confidence": np.concatenate([part["confidence"].to_numpy(np.float64) for part in found])},
        geometry=[shape for part in found for shape in part.geometry],
    )


def crowns_of(scene: Path) -> cKDTree:
    """Places of the returns from crowns and understorey."""
    places = []
    for path in sorted((scene / "tiles").glob("*.truth.npz")):
        las, source = laspy.read(str(path).replace(".truth.npz", ".laz")), np.load(path)["src"]
        is_plant = np.isin(source, (CROWN, UNDERSTOREY))
        places.append(np.column_stack([las.x, las.y])[is_plant])
    return cKDTree(np.concatenate(places))


def judged(scene: Path, out: Path, kind: str) -> tuple[list[float], list[bool]]:
    """Stated confidence and truth of each feature of a kind that a run drew."""
    found = drawn(out, KINDS[kind])
    if kind == "pond":
        pond = Cells.read(scene / "truth_pond.tif")
        shapes = [shape.buffer(SHORE_M) if shape.geom_type == "Point" else shape for shape in found.geometry]
        is_true = [pond.share(shape) >= 0.5 for shape in shapes]
    else:
        is_open, crowns = Cells.read(scene / "truth_open.tif"), crowns_of(scene)
        is_true = [
            bool(crowns.query((at.x, at.y))[0] <= CROWN_M) and is_open.share(at.buffer(AROUND_M)) >= OPEN_SHARE
            for at in found.geometry
        ]
    return found["confidence"].tolist(), is_true


def main(arguments: list[str]) -> None:
    """Print a line of reliability for each kind."""
    pairs = [*zip(map(Path, arguments[::2]), map(Path, arguments[1::2]), strict=True)]
    for kind in KINDS:
        parts = [judged(scene, out, kind) for scene, out in pairs]
        confidence, is_true = ([value for part in parts for value in part[n]] for n in (0, 1))
        print(reliability_line(kind, np.array(confidence, np.float64), np.array(is_true, bool)))


if __name__ == "__main__":
    main(sys.argv[1:])
