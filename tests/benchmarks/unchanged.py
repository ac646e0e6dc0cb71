"""The draft of today beside that of an earlier commit, feature by feature, and what both cost.

`make figures ONLY=unchanged` unpacks the commit into a temporary folder and drafts the same tiles with both trees.
"""

from __future__ import annotations

import io
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

import geopandas as gpd
import pandas as pd

from tests.benchmarks.results import Table
from tests.benchmarks.structure import BEFORE
from tests.benchmarks.watched import Cost, run_watched
from tests.paths import PROJECT
from tests.runs import layers_of, write_area


def unchanged(places: dict[str, str], /) -> list[Table]:
    """What the drafts of some places gained and lost since the commit `BEFORE`, and seconds and memory of both.

    Parameters
    ----------
    places : name of a place -> pattern of its tiles
    """
    costs: list[list[str]] = []
    changes: list[list[str]] = []
    with tempfile.TemporaryDirectory(prefix="tussock-before-") as scratch:
        old = _tree_of(BEFORE, Path(scratch) / "tree")
        for name, tiles in places.items():
            then, cost_then = _draft(old, Path(scratch) / "then" / name, tiles)
            now, cost_now = _draft(PROJECT, Path(scratch) / "now" / name, tiles)
            costs += [[name, "before", *_figures(cost_then)], [name, "now", *_figures(cost_now)]]
            changes += [[name, *row] for row in _changes(then, now)]
    return [
        Table("Cost", ["place", "code", "seconds", "GiB of the largest process", "GiB together"], costs),
        Table(f"Features that are not the same as at {BEFORE}", ["place", "layer", "symbol", "change"], changes),
    ]


def _tree_of(commit: str, folder: Path) -> Path:
    packed = subprocess.run(["git", "archive", commit], cwd=PROJECT, capture_output=True, check=True, timeout=60)
    with tarfile.open(fileobj=io.BytesIO(packed.stdout)) as archive:
        archive.extractall(folder, filter="data")
    return folder


def _draft(tree: Path, folder: Path, tiles: str) -> tuple[Path, Cost]:
    """Draft some tiles with the code of a tree."""
    area = write_area(folder, tiles)
    cost = run_watched([sys.executable, "-m", "pipeline.cli", "draft", str(area), "--cores", "2"], tree=tree)
    return area.parent / "out", cost


def _figures(cost: Cost) -> list[str]:
    return [f"{cost.seconds:.0f}", f"{cost.largest_gib:.2f}", f"{cost.together_gib:.2f}"]


def _changes(then: Path, now: Path) -> list[list[str]]:
    """A row for each layer and symbol: how many features are gone, new, or say something else."""
    ours = layers_of(now)
    rows = []
    for layer, before in layers_of(then).items():
        a, b = before.set_index("id"), ours[layer].set_index("id")
        gone, new, kept = a.index.difference(b.index), b.index.difference(a.index), a.index.intersection(b.index)
        told = {
            "gone": [_described(a.loc[key]) for key in gone],
            "new": [_described(b.loc[key]) for key in new],
            "changed": [_described(b.loc[key]) for key in kept if not _same(a.loc[key], b.loc[key])],
        }
        rows += [[layer, one.partition(" ")[0], f"{what}: {one}"] for what, many in told.items() for one in many]
    return rows or [["-", "-", "none"]]


def _described(feature: pd.Series[object]) -> str:
    shape = gpd.GeoSeries([feature["geometry"]])
    size = f"{shape.area[0]:.0f} m2" if shape.area[0] else f"{shape.length[0]:.0f} m" if shape.length[0] else "a point"
    return f"{feature['symbol']} of {size}, confidence {feature['confidence']}"


def _same(a: pd.Series[object], b: pd.Series[object]) -> bool:
    """Whether two features lie in one place to a micrometre and say the same."""
    if not gpd.GeoSeries([a["geometry"]]).geom_equals_exact(gpd.GeoSeries([b["geometry"]]), 1e-6)[0]:
        return False
    return bool((a.drop("geometry").map(repr) == b.drop("geometry").map(repr)).all())
