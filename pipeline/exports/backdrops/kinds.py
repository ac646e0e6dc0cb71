"""Which backdrops there are, what each is made from, and how its values become grey or green.

Every picture has a last band that says where something is known: 255, else 0.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.lattice.grid import Grid, Heights
from pipeline.lattice.means import Known, gaussian_window
from pipeline.terrain.relief import LIGHT_AZIMUTHS_DEG, shaded_relief

Bands = NDArray[np.uint8]
"""(bands, rows, cols) uint8: grey or red, green, blue; then where something is known."""
Limits = tuple[float, float]
"""Values that are drawn at one end of the colours and at the other."""

STEEPEST_DEG = 45.0
"""Drawn black; earth does not stand steeper (common practice, no source)."""
LOCAL_SIGMA_M = 6.0
"""Standard deviation of the bell under which the ground is evened out: what is narrower than some 12 m stands out,
such as knolls, ditches and walls (our choice)."""
LOCAL_REACH = 3.0
"""Standard deviations after which that bell is cut off."""
LOCAL_HEIGHT_M = 1.0
"""Height above or depth below the evened ground that is drawn white or black (our choice)."""
TALLEST_M = 30.0
"""Height of trees that is drawn darkest: a grown stand (our choice)."""
DENSEST_M2_PER_M3 = 0.6
"""Plant area in the running layer that is drawn darkest: fight and more in most forests (our choice)."""
DARK_GREEN = (0.0, 90.0, 40.0)
"""What growth tends to, from white: red, green, blue, 0 to 255."""
WHITE = 255.0


@dataclass(frozen=True)
class Backdrop:
    """One kind of backdrop.

    Attributes
    ----------
    draw : values of a part with its margin, and their grid -> bands
    margin_m : how far around a cell is looked
    says : what it shows, for the file
    """

    draw: Callable[[Heights, Grid], Bands]
    says: str
    margin_m: float = 0.0
    n_bands: int = 2


def grey(values: Heights, limits: Limits, /) -> Bands:
    """Black at the first limit, white at the second; they may be given either way round."""
    black, white = limits
    known = np.isfinite(values)
    share = (np.where(known, values, black) - black) / (white - black)
    return np.stack([_bytes(WHITE * share), np.where(known, 255, 0).astype(np.uint8)])


def green(values: Heights, most: float, /) -> Bands:
    """White at 0, dark green at the most and above."""
    known = np.isfinite(values)
    share = np.clip(np.where(known, values, 0.0) / most, 0.0, 1.0)
    colours = [_bytes(WHITE + share * (dark - WHITE)) for dark in DARK_GREEN]
    return np.stack([*colours, np.where(known, 255, 0).astype(np.uint8)])


def _bytes(values: NDArray[np.floating]) -> NDArray[np.uint8]:
    return np.clip(np.round(values), 0, 255).astype(np.uint8)


def local_relief(bare_earth: Heights, grid: Grid, /) -> Heights:
    """Height of the ground above the same ground evened out, metres; NaN where unknown.

    Source
    ------
    Hesse (2010), LiDAR-derived local relief models, Archaeological Prospection 17(2), 67-72 (the idea; the bell instead
    of his square window, and no purging, are our choice).
    """
    cells = np.isfinite(bare_earth)
    window = gaussian_window(LOCAL_SIGMA_M / grid.cell_m, rim="constant", truncate=LOCAL_REACH)
    # Counted from a height nearby: metres above the sea would cost digits.
    base = np.float32(np.nanmedian(bare_earth)) if cells.any() else np.float32(0)
    even = Known.of(cells, window, dtype=np.float32).mean(bare_earth - base)
    return np.where(cells, bare_earth - base - even, np.nan).astype(np.float32)


def _relief(*azimuths_deg: float) -> Callable[[Heights, Grid], Bands]:
    def draw(bare_earth: Heights, grid: Grid) -> Bands:
        light = shaded_relief(bare_earth, grid, azimuths_deg=azimuths_deg)
        return np.stack([light, np.where(light > 0, 255, 0).astype(np.uint8)])

    return draw


RELIEF_MARGIN_M = 4.0
"""The lights look at the next cell only, and cells are 2 m at most."""

BACKDROPS: dict[str, Backdrop] = {
    "relief": Backdrop(
        _relief(*LIGHT_AZIMUTHS_DEG),
        "bare earth lit from south-west, west, north-west and north at once",
        RELIEF_MARGIN_M,
    ),
    "relief_northwest": Backdrop(_relief(315.0), "bare earth lit from the north-west", RELIEF_MARGIN_M),
    "relief_northeast": Backdrop(_relief(45.0), "bare earth lit from the north-east", RELIEF_MARGIN_M),
    "relief_southwest": Backdrop(_relief(225.0), "bare earth lit from the south-west", RELIEF_MARGIN_M),
    "local_relief": Backdrop(
        lambda values, grid: grey(local_relief(values, grid), (-LOCAL_HEIGHT_M, LOCAL_HEIGHT_M)),
        f"height above the ground evened out: black {LOCAL_HEIGHT_M:g} m below, white {LOCAL_HEIGHT_M:g} m above",
        LOCAL_REACH * LOCAL_SIGMA_M + 2.0,
    ),
    "slope": Backdrop(
        lambda values, _: grey(values, (STEEPEST_DEG, 0.0)),
        f"slope of the bare earth: white is level, black {STEEPEST_DEG:g} degrees and more",
    ),
    "canopy": Backdrop(
        lambda values, _: green(values, TALLEST_M),
        f"height of the vegetation: white is none, dark green {TALLEST_M:g} m and more",
        n_bands=4,
    ),
    "understorey": Backdrop(
        lambda values, _: green(values, DENSEST_M2_PER_M3),
        f"growth in the running layer: white is none, dark green {DENSEST_M2_PER_M3:g} m2/m3 and more",
        n_bands=4,
    ),
    "intensity": Backdrop(lambda values, _: grey(values, (0.0, 1.0)), "how bright bare ground sends the laser back"),
}
"""The backdrops by the names that an area file asks for them with."""
