"""Where on the map the next notes would teach most about the limits of the bands."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
from shapely.geometry import Point

from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.lattice.means import Known, gaussian_window
from pipeline.vegetation.calibration.fit import LEAST_DENSITY_M2_PER_M3, band_chances
from pipeline.vegetation.running.runnability import BAND_SYMBOLS, Limits

NEXT_WINDOW_M = 10.0
"""Sigma of the ground over which a place is judged, large enough that mapper and survey mean the same ground (our
choice)."""
NEXT_APART_M = 100.0
"""Least distance between the places proposed, and from notes already made, so that they show several kinds of forest
(our choice)."""
LEAST_DOUBT_BITS = 0.5
"""Entropy of the bands' probabilities from which a note teaches something; below it the likeliest band has a chance of
nine in ten (our choice)."""


def where_notes_teach(
    density: Heights,
    grid: Grid,
    known: EastNorth,
    /,
    *,
    limits: Limits,
    spread: float,
    most_places: int,
    askable: Mask | None = None,
) -> gpd.GeoDataFrame:
    """Places where the next notes would teach most, the most telling first.

    A note tells most where the band is least certain (greatest entropy of its probabilities) over ground large and
    even enough that the mapper and the survey mean the same. Places keep NEXT_APART_M from each other and from notes
    already made.

    Parameters
    ----------
    density : (rows, cols) of the running layer, m2/m3, NaN where not seen
    known : (n, 2) east, north of the notes already made
    limits : densities (m2/m3) where 406, 408 and 410 begin
    spread : scatter of the density that means one band to the mapper, one sigma of its logarithm
    most_places : how many places to propose
    askable : (rows, cols) bool, where the question can be answered (`pipeline.vegetation.calibration.askable`); None
        for everywhere

    Returns
    -------
    GeoDataFrame with points, `density` (m2/m3), `between` (two symbols) and `entropy` (0..1).
    """
    smooth, even = _even_ground(density, NEXT_WINDOW_M / grid.cell_m)
    chance = band_chances(smooth.ravel().astype(np.float64), limits=limits, spread=spread)
    entropy = -(chance * np.log(np.maximum(chance, 1e-12))).sum(axis=1) / np.log(2)
    doubt = np.where(np.isfinite(entropy), entropy, 0.0).reshape(density.shape)
    value = np.where(doubt >= LEAST_DOUBT_BITS, doubt * even, 0.0)
    if askable is not None:
        value = np.where(askable, value, 0.0)
    taken = [tuple(place) for place in known]
    rows: list[tuple[Point, float, str, float]] = []
    east, north = grid.centres()
    for flat in np.argsort(-value, axis=None, kind="stable"):
        row, col = divmod(int(flat), grid.cols)
        place = float(east[col]), float(north[row])
        if len(rows) == most_places or value[row, col] <= 0:
            break
        if all(np.hypot(place[0] - e, place[1] - n) >= NEXT_APART_M for e, n in taken):
            taken.append(place)
            first, second = sorted(np.argsort(-chance[flat], kind="stable")[:2])
            between = f"{BAND_SYMBOLS[first]} or {BAND_SYMBOLS[second]}"
            rows.append((Point(place), float(smooth[row, col]), between, float(min(entropy[flat], 1.0))))
    columns = ["geometry", "density", "between", "entropy"]
    return gpd.GeoDataFrame(
        dict(zip(columns, zip(*rows, strict=True) if rows else [[]] * 4, strict=True)), crs=grid.crs
    )


def _even_ground(density: Heights, sigma: float) -> tuple[Heights, Heights]:
    """Mean density in a Gaussian window, and how even it is there (1 even, 0 patchy or not seen)."""
    seen = Known.of(np.isfinite(density), gaussian_window(sigma, rim="constant"), dtype=np.float32)
    mean = seen.mean(density)
    spread = np.sqrt(np.maximum(seen.mean(density**2) - mean**2, 0))
    even = np.exp(-spread / np.maximum(mean, LEAST_DENSITY_M2_PER_M3)) * (seen.share > 0.5)
    return np.where(seen.share > 0.5, mean, np.nan).astype(np.float32), even.astype(np.float32)
