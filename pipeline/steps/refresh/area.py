"""A whole refresh of one area: OLD read and checked, compared with the new draft, the mapper's word kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from pipeline.files import arrays
from pipeline.files.runs import EarlierRun, read_map, read_run
from pipeline.refresh.compare.by_map import HOUSES, MAN_MADE, off_of
from pipeline.refresh.compare.survey import Survey
from pipeline.refresh.features.rows import moved
from pipeline.refresh.keep.keeping import Kept
from pipeline.refresh.keep.same import without_said
from pipeline.refresh.old.old_map import ROW, OldMap
from pipeline.refresh.refresh import Refreshed
from pipeline.refresh.register.shift import Shift
from pipeline.refresh.stretch.stretch import Stretch, by_square, find_stretch
from pipeline.steps.refresh.keep import begin, describe_kept, keep_work, note_step
from pipeline.steps.refresh.old import with_later_edits
from pipeline.steps.refresh.refresh import compare_runs, read_new

REJECTED, DRAFT = "rejected", "draft.gpkg"
MORE_M, MOST_MORE_M = 8.0, 4.0
"""How much farther off, in metres, a feature of a map may lie than two drawings of one thing do: where nothing is known
of how the map lies, and at most where it is known (our choice: maps are commonly up to 5 m off)."""


@dataclass(frozen=True)
class Done:
    """A refresh that is done.

    Attributes
    ----------
    told : what stands in `refresh.json`
    kept : the refreshed map
    before : features of the earlier map in the frame of the new survey, a drawn map laid on lidar as it was compared
    read_as : how the earlier map was read, and what of it was kept, a sentence each
    """

    told: dict[str, object]
    kept: Kept
    before: gpd.GeoDataFrame
    read_as: tuple[str, ...]


def refresh_area(old: OldMap, out: Path, /) -> Done:
    """Compare an earlier map with the new draft in `out` and write both what changed and the map to go on with."""
    files_before = begin(out)
    new_run = read_new(out)
    old = with_later_edits(old, str(new_run.survey.features.crs), out)
    stretch = _stretch(old, new_run.survey.features)
    is_map = stretch is not None and old.rasters is None
    placed = old if stretch is None else replace(old, features=_placed(old, stretch))
    known = replace(stretch.shift, east_m=0.0, north_m=0.0) if stretch is not None and is_map else None
    old_run = _as_run(placed, str(new_run.survey.features.crs))
    told, found = compare_runs(old_run, new_run, out, shift=known, sift=lambda one: _without_rejected(one, placed))
    shift = stretch.shift if stretch is not None and is_map else found.shift
    laid = _laid(placed.features, found.shift)
    kept = keep_work(old, out, laid, shift=shift, more_m=_more_m(found.shift, stretch))
    told |= _told(old, kept, stretch)
    arrays.write_json(out / "refresh.json", told)
    note_step(old, out, kept, files_before)
    before = placed.features.set_geometry(gpd.GeoSeries(laid, index=placed.features.index, crs=old.features.crs))
    return Done(told, kept, before, tuple(describe_kept(kept, old)))


def _stretch(old: OldMap, new: gpd.GeoDataFrame) -> Stretch | None:
    """How a map lies beside the new draft; of a run that goes on from a map, how that lies beside the run's own draft.

    None for a run that comes from lidar alone.
    """
    if old.rasters is None:
        return find_stretch(old.features, new)
    if old.ground is None or not (old.rasters.parent / DRAFT).exists():
        return None
    own = read_map(old.rasters.parent, crs=str(old.features.crs), names=(DRAFT,))
    return find_stretch(old.features[_are_kept(old)], own)


def _are_kept(old: OldMap) -> NDArray[np.bool_]:
    """(n,) whether each of `old.features` is of a feature that a mapper has said something of."""
    return cast("NDArray[np.bool_]", old.given["is_kept"].to_numpy(np.bool_)[old.features[ROW].to_numpy()])


def _placed(old: OldMap, stretch: Stretch) -> gpd.GeoDataFrame:
    """Features of a map where lidar shows them; what a run has from lidar stays where it is."""
    features = old.features
    shapes = features.geometry.to_numpy().copy()
    rows = _are_kept(old)
    shapes[rows] = stretch.laid(shapes[rows])
    return features.set_geometry(gpd.GeoSeries(shapes, index=features.index, crs=features.crs))


def _as_run(old: OldMap, crs: str) -> EarlierRun:
    """What the comparison asks of an earlier map: a map of its own has no rasters and no points.

    What a mapper has rejected is not on the map, so it is no use to look whether it has gone.
    """
    features = old.features[~_is_rejected(old.features)].reset_index(drop=True)
    if old.rasters is None:
        survey = Survey(None, features, season=old.season)
        days = (old.date,) if old.date else ()
        return EarlierRun(Path(old.source), survey, days, "a map has no points")
    run = read_run(old.rasters.parent, crs=crs)
    return replace(run, survey=replace(run.survey, features=features))


def _is_rejected(features: gpd.GeoDataFrame) -> NDArray[np.bool_]:
    status = features["status"].fillna("").astype(str).str.strip().str.casefold()
    return np.asarray(status == REJECTED, np.bool_)


def _laid(features: gpd.GeoDataFrame, shift: Shift) -> NDArray[np.object_]:
    """Old features in the frame of the new survey."""
    return cast("NDArray[np.object_]", moved(features, shift.east_m, shift.north_m, shift.up_m).geometry.to_numpy())


def _without_rejected(found: Refreshed, old: OldMap) -> Refreshed:
    """What was found, without proposals of what a mapper has rejected at that place."""
    shift = found.shift
    columns = ["id", "symbol", "status", "elevation_m", "geometry"]
    tables = [old.features[_is_rejected(old.features)][columns]]
    tables += [old.struck.assign(status=REJECTED)[columns]] if old.struck is not None and len(old.struck) else []
    rejected = gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), geometry="geometry", crs=old.features.crs)
    if rejected.empty or found.features.empty:
        return found
    there = moved(rejected, shift.east_m, shift.north_m, shift.up_m)
    rows = found.features.assign(_row=np.arange(len(found.features)))
    left = without_said(rows, there, more_m=2 * shift.error_m).features["_row"].unique()
    kept = found.features.iloc[np.sort(left)].reset_index(drop=True)
    return replace(found, features=kept, patches=without_rejected_patches(found, there))


def without_rejected_patches(found: Refreshed, rejected: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """The patches; where a map alone tells them, none for a house or road that a mapper has rejected there.

    Parameters
    ----------
    rejected : features with `symbol`, laid in the frame of the new survey
    """
    patches, off_m = found.patches, off_of(found.shift)
    if found.measured is not None or patches.empty:
        return patches
    main = rejected["symbol"].astype(str).str.partition(".")[0]
    is_said = np.zeros(len(patches), np.bool_)
    for kind, symbols in (("built", HOUSES), ("track", MAN_MADE)):
        said = shapely.union_all(rejected.geometry[main.isin(symbols)].to_numpy())
        is_said |= (patches["kind"] == kind).to_numpy() & shapely.dwithin(patches.geometry.to_numpy(), said, off_m)
    return patches[~is_said].reset_index(drop=True)


def _more_m(shift: Shift, stretch: Stretch | None) -> float:
    """How much farther off a feature of the old map may lie than two drawings of one thing do."""
    if stretch is None:
        return 2 * shift.error_m
    return min(2 * stretch.after_m, MOST_MORE_M) if stretch.is_found else MORE_M


def _told(old: OldMap, kept: Kept, stretch: Stretch | None) -> dict[str, object]:
    """What `refresh.json` says of the earlier map and of what was kept."""
    told: dict[str, object] = {
        "old_kind": old.kind,
        "old_notes": list(old.notes),
        "kept": {"yours": kept.n_kept, "new": kept.n_new, "carried": kept.n_carried, "gave_way": len(kept.left_out)},
    }
    if stretch is None:
        return told
    shift = stretch.shift
    squares = [{name: _number(value) for name, value in square.items()} for square in by_square(stretch)]
    told["stretch"] = {
        "how": shift.how,
        "before_m": _number(stretch.before_m),
        "after_m": _number(stretch.after_m),
        "squares": squares,
    }
    if old.rasters is not None:
        return told
    told["lies"] = _in_words(stretch)
    told["shift"] = {
        "east_m": round(shift.east_m, 2),
        "north_m": round(shift.north_m, 2),
        "up_m": 0.0,
        "east_error_m": _number(shift.east_error_m),
        "north_error_m": _number(shift.north_error_m),
        "up_error_m": None,
        "how": shift.how,
    }
    return told


def _number(value: float) -> float | None:
    return round(value, 2) if np.isfinite(value) else None


def _in_words(stretch: Stretch) -> str:
    if not stretch.is_found:
        return f"How the old map lies beside lidar: {stretch.shift.how}."
    shift = stretch.shift
    return (
        f"The old map lies {np.hypot(shift.east_m, shift.north_m):.1f} m off lidar on the whole, {shift.how}. Half "
        f"of its lines are nearer than {stretch.before_m:.1f} m to those of lidar as it is, and nearer than "
        f"{stretch.after_m:.1f} m as it was laid for comparing. The map itself was not moved."
    )
