"""Step of ISOM section 3.3: water."""

from __future__ import annotations

from pathlib import Path

from pipeline.files import arrays, layers, rasters
from pipeline.settings import WaterSettings
from pipeline.water.draft import draft_water


def water(
    *, bare_earth: Path, ground_support: Path, counts: Path, out: Path, scale: int, settings: WaterSettings
) -> None:
    """Write the standing and running water of the area."""
    heights, grid = rasters.read_heights(bare_earth)
    support, _ = rasters.read_heights(ground_support)
    sums = arrays.read_sums(counts, ("water_returns", "last_returns"))
    found = draft_water(
        heights, sums["water_returns"], sums["last_returns"], support, grid, scale=scale, settings=settings
    )
    layers.write_features(out, found)
