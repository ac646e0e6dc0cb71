"""A whole refresh of one area: OLD read and checked, compared with the new draft, the mapper's word kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from pipeline.files.runs import EarlierRun, read_run
from pipeline.refresh.compare.survey import Survey
from pipeline.refresh.features.rows import moved
from pipeline.refresh.keep.keeping import Kept
from pipeline.refresh.old.old_map import OldMap
from pipeline.refresh.register.shift import Shift
from pipeline.steps.refresh.keep import begin, describe_kept, keep_work
from pipeline.steps.refresh.refresh import compare_runs, describe_refresh, read_new

REJECTED = "rejected"


@dataclass(frozen=True)
class Done:
    """A refresh that is done.

    Attributes
    ----------
    told : what stands in `refresh.json`
    kept : the refreshed map
    words : what a mapper is told
    """

    told: dict[str, object]
    kept: Kept
    words: str


def refresh_area(old: OldMap, out: Path, /) -> Done:
    """Compare an earlier map with the new draft in `out` and write both what changed and the map to go on with."""
    before = begin(out)
    new_run = read_new(out)
    old_run = _as_run(old, str(new_run.survey.features.crs))
    told, found = compare_runs(old_run, new_run, out, shift=None)
    laid = _laid(old.features, found.shift)
    kept = keep_work(old, out, laid, shift=found.shift, more_m=2 * found.shift.error_m, before=before)
    return Done(told, kept, describe_refresh(told) + describe_kept(kept, old))


def _as_run(old: OldMap, crs: str) -> EarlierRun:
    """What the comparison asks of an earlier map: a map of its own has no rasters and no points.

    What a mapper has rejected is not on the map, so it is no use to look whether it has gone.
    """
    features = old.features[old.features["status"].fillna("").astype(str) != REJECTED].reset_index(drop=True)
    if old.rasters is None:
        survey = Survey(None, features, season=old.season)
        days = (old.date,) if old.date else ()
        return EarlierRun(Path(old.source), survey, days, "a map has no points")
    run = read_run(old.rasters.parent, crs=crs)
    return replace(run, survey=replace(run.survey, features=features))


def _laid(features: gpd.GeoDataFrame, shift: Shift) -> NDArray[np.object_]:
    """Old features in the frame of the new survey."""
    return cast("NDArray[np.object_]", moved(features, shift.east_m, shift.north_m, shift.up_m).geometry.to_numpy())
