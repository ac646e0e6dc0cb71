"""Whether leaves were out when the survey was flown."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import cast

import numpy as np

from pipeline.files import arrays, grid_files
from pipeline.intake.leaf_calendar import Season
from pipeline.vegetation.running.leaves import leaf_season


def season(*, counts: Path, survey: Path, out: Path) -> None:
    """The leaf season by the survey's days of flight, else by what the crowns let through."""
    flight = cast("Mapping[str, object]", arrays.read_json(survey)["flight"])
    sums = {"tree_pulses": 0.0, "tree_through": 0.0}
    for part in grid_files.read_grid_of(counts)[0].bands():
        for name, values in grid_files.read_sums(counts, tuple(sums), bounds=part.bounds).items():
            sums[name] += float(np.nansum(values, dtype=np.float64))
    found = leaf_season(
        [datetime.date.fromisoformat(day) for day in cast("Sequence[str]", flight["days"])],
        cast("Season", flight["season"]),
        tree_pulses=sums["tree_pulses"],
        tree_through=sums["tree_through"],
    )
    arrays.write_json(out, asdict(found))
