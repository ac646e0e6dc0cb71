"""`tussock refresh`: what changed since an earlier run or map, as `changes.gpkg`, a summary and a list of places."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd

from pipeline.draft.compose import LAYERS
from pipeline.errors import InputError
from pipeline.files import arrays, layers
from pipeline.files.disk import atomic
from pipeline.files.runs import EarlierRun, is_run, read_run, years_between
from pipeline.refresh.refresh import Refreshed, refresh
from pipeline.refresh.register.coarse import FARTHEST_M
from pipeline.refresh.register.remarks import datum_in_words, tilt_in_words
from pipeline.refresh.register.shift import Shift
from pipeline.refresh.summary import cannot_tell, ranked_places, share_verified, verified_unchanged


def refresh_run(old: Path, out: Path, /) -> dict[str, object]:
    """Compare an earlier run with the draft in `out`; writes there, and nowhere else.

    Returns
    -------
    What was written into `refresh.json`.

    Raises
    ------
    InputError
        If `old` cannot be used: no run, the same folder, or another place.
    """
    _check(old, out)
    new_run = read_new(out)
    crs = str(new_run.survey.surface.grid.crs) if new_run.survey.surface else str(new_run.survey.features.crs)
    old_run = read_run(old, crs=crs)
    _check_place(old_run, new_run)
    return compare_runs(old_run, new_run, out)[0]


def read_new(out: Path, /) -> EarlierRun:
    """The new draft: never a map that an earlier refresh has made of it."""
    return read_run(out, names=("draft.gpkg",))


def compare_runs(
    old_run: EarlierRun,
    new_run: EarlierRun,
    out: Path,
    /,
    *,
    shift: Shift | None = None,
    sift: Callable[[Refreshed], Refreshed] | None = None,
) -> tuple[dict[str, object], Refreshed]:
    """Compare an earlier run or map with a new draft and write what was found into `out`.

    Parameters
    ----------
    shift : where it is known already; else it is found from the rasters of both
    sift : takes out what a mapper has said already, before anything is counted or written

    Returns
    -------
    What was written into `refresh.json`, and all that was found.
    """
    started_s = time.monotonic()
    years = years_between(old_run.days, new_run.days)
    found = refresh(old_run.survey, new_run.survey, years=years, shift=shift)
    found = sift(found) if sift else found
    told = summary_of(found, old_run, new_run, seconds=time.monotonic() - started_s)
    layers.write_layers(out / "changes.gpkg", _layers(found))
    places = ranked_places(found.patches).drop(columns="geometry")
    atomic.write_text(out / "fieldwork" / "changes_list.csv", places.to_csv(index=False, lineterminator="\n"))
    arrays.write_json(out / "refresh.json", told)
    return told, found


def _check(old: Path, out: Path) -> None:
    if not old.exists():
        raise InputError(f"{old}: there is no such folder or file; name the folder of the earlier run")
    if not is_run(old):
        raise InputError(f"{old}: holds no draft (draft.gpkg); name the folder that 'out:' named in the earlier run")
    if old.resolve() == out.resolve():
        raise InputError(f"{old}: is the folder of the new draft itself; name the folder of the earlier run")


def _check_place(old: EarlierRun, new: EarlierRun) -> None:
    """Surveys of different places have nothing to compare."""
    a, b = (_frame(run) for run in (old, new))
    apart_km = max(a[0] - b[2], b[0] - a[2], a[1] - b[3], b[1] - a[3], 0.0) / 1000
    if apart_km * 1000 > FARTHEST_M:
        raise InputError(
            f"{old.folder}: the earlier map lies {apart_km:.1f} km from the new tiles; nothing to compare. Check that "
            "both are of one place, and the coordinate systems of both"
        )


def _frame(run: EarlierRun) -> tuple[float, float, float, float]:
    surface = run.survey.surface
    west, south, east, north = surface.grid.bounds if surface else run.survey.features.total_bounds
    return float(west), float(south), float(east), float(north)


def _middle(run: EarlierRun) -> tuple[float, float]:
    west, south, east, north = _frame(run)
    return (west + east) / 2, (south + north) / 2


def _layers(found: Refreshed) -> dict[str, gpd.GeoDataFrame]:
    """The rows by layer, in the order of the draft, and the patches."""
    rows = found.features
    names = [name for name in LAYERS if not name.startswith("technical")]
    by_layer = {name: rows[rows["layer"] == name].drop(columns="layer").reset_index(drop=True) for name in names}
    return {**by_layer, "changes": found.patches.reset_index(drop=True)}


def summary_of(found: Refreshed, old: EarlierRun, new: EarlierRun, /, *, seconds: float) -> dict[str, object]:
    """What `refresh.json` says; no path but the name of the old folder."""
    shift, squares = found.shift, verified_unchanged(found.measured, found.patches) if found.measured else []
    counts = found.features["change"].value_counts().sort_index()
    causes = found.features["cause"].value_counts().sort_index()
    places = ranked_places(found.patches)
    verified = share_verified(squares)
    return {
        "old": old.folder.name,
        "dates": {"old": list(old.days), "new": list(new.days)},
        "seasons": {"old": old.survey.season, "new": new.survey.season},
        "shift": {
            "east_m": round(shift.east_m, 4),
            "north_m": round(shift.north_m, 4),
            "up_m": round(shift.up_m, 4),
            "east_error_m": _number(shift.east_error_m),
            "north_error_m": _number(shift.north_error_m),
            "up_error_m": _number(shift.up_error_m),
            "how": shift.how,
        },
        "datum": datum_in_words(shift, str(found.features.crs.to_string()), _middle(new)),
        "tilt": tilt_in_words(old.survey.surface, new.survey.surface, shift)
        if old.survey.surface and new.survey.surface
        else "",
        "compared_from": found.measured.told_from if found.measured else "map",
        "points": {"old": old.points_message or "at hand", "new": new.points_message or "at hand"},
        "cannot_tell": [*cannot_tell(found.measured, old.survey.season, new.survey.season), *found.notes],
        "leaf_ratio": _leaf_ratio(found),
        "counts": {str(name): int(count) for name, count in counts.items()},
        "causes": {str(name): int(count) for name, count in causes.items() if name},
        "patches": {str(kind): int(n) for kind, n in found.patches["kind"].value_counts().sort_index().items()},
        "verified_unchanged": None if verified is None else round(verified, 3),
        "squares": squares,
        "places": places.drop(columns="geometry").to_dict(orient="records"),
        "seconds": round(seconds, 1),
    }


def _number(value: float) -> float | None:
    return round(value, 4) if value == value else None


def _leaf_ratio(found: Refreshed) -> float | None:
    if found.measured is None or found.measured.density is None:
        return None
    return round(found.measured.density.leaf_ratio, 3)
