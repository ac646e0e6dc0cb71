"""Step of ISOM section 3.5: what people made."""

from __future__ import annotations

from pathlib import Path

from pipeline.files import arrays, layers, rasters
from pipeline.manmade.draft import draft_manmade
from pipeline.settings import ManmadeSettings


def manmade(
    *, bare_earth: Path, canopy_height: Path, counts: Path, out: Path, scale: int, settings: ManmadeSettings
) -> None:
    """Write the buildings of the area."""
    heights, grid = rasters.read_heights(bare_earth)
    canopy, _ = rasters.read_heights(canopy_height)
    sums = arrays.read_sums(counts, ("building_returns", "last_returns"))
    found = draft_manmade(
        sums["building_returns"], sums["last_returns"], canopy, heights, grid, scale=scale, settings=settings
    )
    layers.write_features(out, found)
