"""Step of one section of the ISOM: rock."""

from __future__ import annotations

from pathlib import Path

from pipeline.features import join_features
from pipeline.files import arrays, layers, rasters
from pipeline.rock.draft import draft_rock
from pipeline.rock.ground.brightness import COUNTS, ground_brightness
from pipeline.settings import RockSettings


def rock(
    *,
    boulders: Path,
    blocks: list[str],
    bare_earth: Path,
    ground_support: Path,
    canopy_height: Path,
    counts: Path,
    out: Path,
    settings: RockSettings,
) -> None:
    """Boulders, cliffs, stony ground and bare rock of the area."""
    heights, grid = rasters.read_heights(bare_earth)
    support, _ = rasters.read_heights(ground_support)
    canopy, _ = rasters.read_heights(canopy_height)
    candidates = join_features([layers.read_features(boulders / f"{name}.gpkg") for name in blocks], grid.crs)
    lowest = arrays.read_sums(counts, ("lowest_last",))["lowest_last"]
    brightness = ground_brightness(arrays.read_sums(counts, COUNTS), grid)
    found = draft_rock(
        candidates,
        heights,
        support,
        canopy,
        grid,
        brightness=brightness,
        lowest=lowest,
        settings=settings,
    )
    layers.write_features(out, found)
