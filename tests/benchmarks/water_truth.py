"""Drafted water against the truth: `python -m tests.benchmarks.water_truth streams DATA=DRAFT` (or `shore`).

DATA is a scene of the measuring data, or its `town` with the official map; DRAFT is the folder of its draft.
"""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

WITHIN_M = 10.0
"""Distance in metres up to which a stream is at its place."""
NEAR_M = 1.0
"""Distance in metres up to which a shore is."""
RIM_M = 2.0
"""What lies nearer than this to the edge of the survey, in metres, is left out: there shores are cut, not seen."""


def streams(data: Path, draft: Path, /) -> str:
    """A row: metres of stream drawn and true, the share of true ones that is drawn, and of drawn ones that is true."""
    drawn = gpd.read_file(draft / "draft.gpkg", layer="water_line")
    drawn = drawn[drawn.symbol.isin(["304", "305", "306"])]
    true = gpd.read_file(data / "truth.gpkg", layer="streams")
    recall = _share_near(_along(true.geometry.to_numpy()), drawn.geometry.to_numpy())
    precision = _share_near(_along(drawn.geometry.to_numpy()), true.geometry.to_numpy())
    return f"{data.name:14} {drawn.length.sum():7.0f} {true.length.sum():7.0f} {recall:7.3f} {precision:9.3f}"


def shore(data: Path, draft: Path, /) -> str:
    """Rows: how much of the official water is drawn and of the drawn is official; how far their shores lie apart."""
    inside = gpd.read_file(draft / "work" / "outline.gpkg").union_all().buffer(-RIM_M)
    area = gpd.read_file(draft / "draft.gpkg", layer="water_area")
    drawn = area[area.symbol.isin(["301", "302"])].union_all()
    true = shapely.force_2d(gpd.read_file(data / "bgt_waterdeel.sqlite").union_all())
    both, either = (
        shapely.intersection(inside, way(drawn, true)).area for way in (shapely.intersection, shapely.union)
    )
    of_true, of_drawn = (both / max(shapely.intersection(inside, one).area, 1e-9) for one in (true, drawn))
    rows = [
        f"official water drawn {of_true:.3f}, drawn water official {of_drawn:.3f}, both of either {both / either:.3f}"
    ]
    for name, of, other in (("official", true, drawn), ("drawn", drawn, true)):
        places = _along(shapely.get_parts(shapely.intersection(shapely.boundary(of), inside)))
        away_m = shapely.distance(shapely.points(places), shapely.boundary(other))
        near = float((away_m <= NEAR_M).mean())
        rows.append(f"{name} shore from the other: {near:.3f} within {NEAR_M:.0f} m, median {np.median(away_m):.2f} m")
    return "\n".join(rows)


def _along(lines: NDArray[np.object_]) -> NDArray[np.float64]:
    """(n, 2) places on some lines, half a metre from each other."""
    found = [
        shapely.get_coordinates(shapely.line_interpolate_point(line, np.arange(0, line.length, 0.5))) for line in lines
    ]
    return np.concatenate(found) if found else np.empty((0, 2))


def _share_near(places: NDArray[np.float64], lines: NDArray[np.object_]) -> float:
    """Share of the places that have a line within `WITHIN_M`; NaN without places."""
    if not len(places):
        return float("nan")
    beside: BaseGeometry = shapely.union_all(shapely.buffer(lines, WITHIN_M))
    return float(shapely.contains_xy(beside, *places.T).mean())


if __name__ == "__main__":
    pairs = [tuple(map(Path, pair.split("=", 1))) for pair in sys.argv[2:]]
    if sys.argv[1] == "streams":
        print("scene           drawn m  true m  recall precision")
    for truth, out in pairs:
        print({"streams": streams, "shore": shore}[sys.argv[1]](truth, out))
