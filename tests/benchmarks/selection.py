"""What a draft found and what of it is drawn: `python -m tests.benchmarks.selection NAME=OUT ...`.

OUT is the folder of a draft. Found are the point symbols in `draft.gpkg`, drawn or not, and those in
`report/left_out.csv` that became part of an area. Counts are for a square kilometre of the area.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely

from tests.benchmarks.results import Table

COLUMNS = ["place", "symbol", "found a km2", "drawn a km2", "drawn", "candidates", "in an area"]
BOULDERS = ("204", "205", "206", "207", "208", "209")
EDGE = "600"
"""The edge of the sheet, which encloses the area."""


def selection(drafts: Mapping[str, Path]) -> list[Table]:
    """Counts of the point symbols of some drafts, and how sure the boulders drawn are, by the name of each."""
    counts = Table("Point symbols", COLUMNS, [row for name, out in drafts.items() for row in _counts(name, out)])
    sure = Table(
        "Boulders drawn (204 to 209); sure in the mean means the sum of their confidences over their number",
        ["place", "boulders found", "sure in the mean", "boulders drawn", "sure in the mean"],
        [_sureness(name, out) for name, out in drafts.items()],
    )
    return [counts, sure]


def _counts(name: str, out: Path) -> list[list[str]]:
    every = _features(out)
    edge = shapely.polygonize(every.geometry[every["symbol"] == EDGE].to_numpy())
    km2 = shapely.area(edge) / 1e6
    points = every[(every.geom_type == "Point") & (every["origin"] == "lidar")]
    merged = _merged(out)["symbol"].value_counts()
    rows = []
    for symbol in sorted(set(points["symbol"]) | set(merged.index)):
        status = points.loc[points["symbol"] == symbol, "status"]
        drawn, candidates, in_area = (status == "draft").sum(), (status == "candidate").sum(), merged.get(symbol, 0)
        found = drawn + candidates + in_area
        figures = (f"{found / km2:.0f}", f"{drawn / km2:.0f}", str(drawn), str(candidates), str(in_area))
        rows.append([name, symbol, *figures])
    return rows


def _sureness(name: str, out: Path) -> list[str]:
    every = _features(out)
    boulders = every[every["symbol"].isin(BOULDERS)]
    drawn = boulders[boulders["status"] == "draft"]
    told = [(str(len(part)), f"{part['confidence'].mean():.2f}" if len(part) else "-") for part in (boulders, drawn)]
    return [name, *told[0], *told[1]]


def _features(out: Path) -> gpd.GeoDataFrame:
    file = out / "draft.gpkg"
    tables = [gpd.read_file(file, layer=str(name)) for name, _ in pyogrio.list_layers(file)]
    return gpd.GeoDataFrame(pd.concat([table for table in tables if len(table)], ignore_index=True))


def _merged(out: Path) -> pd.DataFrame:
    """Points that an area of the choice stands for."""
    listed = pd.read_csv(out / "report" / "left_out.csv", dtype={"symbol": str, "reason": str})
    return listed[listed["reason"].str.startswith("one of many").fillna(False)]


if __name__ == "__main__":
    given = dict(pair.split("=", 1) for pair in sys.argv[1:])
    for table in selection({name: Path(out) for name, out in given.items()}):
        print("\n".join(table.as_markdown()))
