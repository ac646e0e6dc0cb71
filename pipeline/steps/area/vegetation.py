"""Step of one section of the ISOM: vegetation."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import cast

import numpy as np

from pipeline.features import join_features
from pipeline.files import arrays, layers, rasters
from pipeline.intake.leaf_calendar import Season
from pipeline.lattice.grid import Heights
from pipeline.settings import VegetationSettings
from pipeline.terrain.profile import PROFILE_NAMES
from pipeline.vegetation.draft import draft_vegetation
from pipeline.vegetation.running.leaves import LeafSeason, leaf_season


def vegetation(
    *,
    bare_earth: Path,
    canopy_height: Path,
    counts: Path,
    survey: Path,
    out: Path,
    season: Path,
    understorey: Path,
    understorey_error: Path,
    running_speed: Path,
    settings: VegetationSettings,
) -> None:
    """Open land, runnability and rides of the area, the rasters behind them, and the season they were seen in."""
    heights, grid = rasters.read_heights(bare_earth)
    canopy, _ = rasters.read_heights(canopy_height)
    sums = arrays.read_sums(counts, PROFILE_NAMES)
    drawn = draft_vegetation(sums, heights, canopy, grid, settings=settings)
    layers.write_features(out, join_features([drawn.features, drawn.not_seen], grid.crs))
    rasters.write_heights(
        understorey_error, drawn.understorey_error, grid, description="standard error of the plant-area density, m2/m3"
    )
    rasters.write_heights(
        understorey, drawn.understorey, grid, description="plant-area density of the running layer, m2/m3"
    )
    rasters.write_heights(
        running_speed, drawn.running_speed, grid, description="expected share of free running speed, 0 to 1"
    )
    arrays.write_json(season, asdict(_season(sums, arrays.read_json(survey))))


def _season(sums: Mapping[str, Heights], survey: Mapping[str, object]) -> LeafSeason:
    """The leaf season by the survey's days of flight, else by what the crowns let through."""
    flight = cast("Mapping[str, object]", survey["flight"])
    return leaf_season(
        [datetime.date.fromisoformat(day) for day in cast("Sequence[str]", flight["days"])],
        cast("Season", flight["season"]),
        tree_pulses=float(np.nansum(sums["tree_pulses"])),
        tree_through=float(np.nansum(sums["tree_through"])),
    )
