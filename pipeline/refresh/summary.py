"""What a refresh found, in numbers: counts, what was verified unchanged, where to go and look."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from rasterio.features import rasterize

from pipeline.lattice.larger_cells import cells_times_as_wide, sum_into
from pipeline.refresh.compare.survey import Measured

SQUARE_M = 250.0
"""Side of the squares that a share verified unchanged is told for, as of the effort model."""
WELL_SEEN_M = 1.5
"""Ground is verified where a ground return of both surveys lies nearer than this, in metres. Our choice."""
FAR_M = 20.0
"""Cells farther from any ground return, in metres, lie outside the surveys."""
THIN_M, LEAST_BLIND = 0.8, 0.05
"""Where ground returns lie farther apart than this, in metres, small things are not told; and the share of ground that
both surveys must miss to be spoken of. Our choice."""
DEGREES = "EPSG:4326"
WORTH = {
    "built": 5.0,
    "building gone": 5.0,
    "track": 5.0,
    "felled": 4.0,
    "dug": 4.0,
    "filled": 4.0,
    "grown": 3.0,
    "thicker": 3.0,
    "thinner": 2.0,
    "boulder gone": 2.0,
    "boulder new": 2.0,
}
"""How much a change matters to a runner, 1 to 5 (common practice, no source): roads and houses first, then what one
runs in, then single boulders."""
LOOK_AT = {
    "built": "a new building?",
    "building gone": "is the building gone?",
    "track": "a new road, track or path: its class and course?",
    "felled": "felled: how it runs now, and its edge?",
    "grown": "forest grown up: how it runs now?",
    "thicker": "thicker undergrowth: how it runs now?",
    "thinner": "thinner undergrowth: how it runs now?",
    "dug": "ground dug away: what is there now?",
    "filled": "ground filled up: what is there now?",
    "boulder gone": "is the boulder gone?",
    "boulder new": "a new boulder?",
}


def verified_unchanged(measured: Measured, patches: gpd.GeoDataFrame, /) -> list[dict[str, float]]:
    """For each square of 250 m: the share of its surveyed ground that both surveys see well and that did not change."""
    grid = measured.grid
    changed = np.zeros(grid.shape, np.uint8)
    if len(patches):
        changed = rasterize(list(patches.geometry), out_shape=grid.shape, transform=grid.transform, all_touched=True)
    known = np.isfinite(measured.support) & measured.ground.seen
    seen = (known & (measured.support <= WELL_SEEN_M) & (changed == 0)).astype(np.float32)
    covered = np.isfinite(measured.ground.difference) | (changed > 0)
    times = max(1, round(SQUARE_M / grid.cell_m))
    squares = cells_times_as_wide(grid, times)
    cells = sum_into({"seen": seen, "covered": covered.astype(np.float32)}, grid, squares, times)
    share = cells["seen"] / np.maximum(cells["covered"], 1)
    return [
        {
            "east_m": squares.west_m + col * squares.cell_m,
            "north_m": squares.north_m - (row + 1) * squares.cell_m,
            "side_m": squares.cell_m,
            "verified_unchanged": round(float(share[row, col]), 3),
            "surveyed_m2": round(float(cells["covered"][row, col]) * grid.cell_m**2, 0),
        }
        for row, col in zip(*np.nonzero(cells["covered"] > 0), strict=True)
    ]


def cannot_tell(measured: Measured | None, old_season: str, new_season: str, /) -> list[str]:
    """What two surveys cannot say between them, a sentence each."""
    if measured is None:
        return [
            "Of the old map there are no rasters: changes are told from the map alone and the new survey, and are less "
            "sure. Ground dug or filled, undergrowth and boulders that came or went cannot be told, nor new tracks "
            "that the draft draws as paths or has as candidates only."
        ]
    found = []
    known = measured.support[measured.ground.seen]
    apart_m = float(np.median(known)) if known.size else 0.0
    if apart_m > THIN_M:
        found.append(
            f"The nearest ground return is {apart_m:.1f} m away, in the middle of all places: boulders, pits, knolls "
            "and paths that came or went cannot be told, nor what of small features is new and what only seen now."
        )
    if measured.told_from != "points":
        found.append(
            "The points of one survey are gone: boulders and houses are told from ground returns missing beneath "
            "them, in the open and in forest where pulses come through, and small changes of the ground are not told."
        )
    if old_season != new_season or old_season not in ("leaf-on", "leaf-off"):
        found.append(
            f"Leaves: {old_season} then, {new_season} now. Undergrowth was compared by what is denser than its "
            "surroundings; a change all over the forest is taken for leaves."
        )
    covered = (measured.support > 0) & (measured.support < FAR_M)
    blind = float((~measured.ground.seen[covered]).mean()) if covered.any() else 1.0
    if blind > LEAST_BLIND:
        found.append(
            f"Of {blind:.0%} of the area the ground is not seen by both surveys, or lies under water or houses."
        )
    return found


def share_verified(squares: list[dict[str, float]], /) -> float | None:
    """The share of all surveyed ground, from that of the squares; None where there is none."""
    ground = sum(square["surveyed_m2"] for square in squares)
    return sum(s["verified_unchanged"] * s["surveyed_m2"] for s in squares) / ground if ground else None


def ranked_places(patches: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """Places to visit, those first where a change is most sure and matters most: rows of `changes_list.csv`.

    Returns
    -------
    GeoDataFrame in WGS 84: `rank`, `name`, `change`, `look_at`, `why`, `sure`, `east_m`, `north_m`, `latitude_deg`,
    `longitude_deg`.
    """
    size = np.sqrt(np.maximum(patches.geometry.area.to_numpy(), 1.0))
    kinds = patches["kind"].astype(str)
    worth = kinds.map(WORTH).fillna(1.0).to_numpy(np.float64) * patches["sure"].to_numpy(np.float64)
    order = np.lexsort((-size, -worth))
    chosen = patches.iloc[order]
    places = gpd.GeoSeries([shapely.point_on_surface(shape) for shape in chosen.geometry], crs=patches.crs, dtype=None)
    degrees = places.to_crs(DEGREES)
    rank = np.arange(1, len(chosen) + 1)
    return gpd.GeoDataFrame(
        {
            "rank": rank,
            "name": [f"C{number:03d}" for number in rank],
            "change": chosen["kind"].to_numpy(),
            "look_at": [LOOK_AT.get(kind, kind) for kind in chosen["kind"]],
            "why": chosen["evidence"].to_numpy(),
            "sure": chosen["sure"].to_numpy(),
            "east_m": places.x.round(1).to_numpy(),
            "north_m": places.y.round(1).to_numpy(),
            "latitude_deg": degrees.y.round(7).to_numpy(),
            "longitude_deg": degrees.x.round(7).to_numpy(),
        },
        geometry=degrees.to_numpy(),
        crs=DEGREES,
    )
