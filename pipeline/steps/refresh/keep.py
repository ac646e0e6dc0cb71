"""The refreshed map written, with a log of each step, and steps taken back."""

from __future__ import annotations

import datetime
from pathlib import Path

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.errors import InputError, counted
from pipeline.files import layers
from pipeline.files.checksums import sha256_of
from pipeline.files.disk import atomic
from pipeline.files.earlier.written import (
    FILES,
    GAVE_WAY,
    LOG,
    MAP,
    REFRESH,
    STORE,
    UNDO,
    Step,
    files_of,
    keep_by_content,
    last_to_undo,
    read_log,
    restore,
    write_log,
    write_map,
)
from pipeline.refresh.keep.keeping import Kept, refreshed_map
from pipeline.refresh.old.old_map import OldMap
from pipeline.refresh.register.shift import Shift


def keep_work(old: OldMap, out: Path, laid: NDArray[np.object_], /, *, shift: Shift, more_m: float) -> Kept:
    """Write `refreshed.gpkg` of an earlier map and the draft in `out`, without a line in the log.

    Parameters
    ----------
    laid : (n,) geometry of `old.features` in the frame of the new survey
    more_m : how much farther off an old feature may lie than two drawings of one thing do
    """
    draft = {name: layers.read_layer(out / "draft.gpkg", name) for name in layers.count_features(out / "draft.gpkg")}
    kept = refreshed_map(
        old, laid, draft, _covered(out), up_m=shift.up_m, more_m=more_m, back=(shift.east_m, shift.north_m)
    )
    write_map(out / MAP, kept.layers)
    atomic.write_text(out / GAVE_WAY, _gave_way(kept.left_out))
    return kept


def _gave_way(features: gpd.GeoDataFrame) -> str:
    """Features of the new draft that are not in the refreshed map as they were found, each with the reason."""
    middle = features.geometry.representative_point()
    told = features[["id", "symbol", "name", "reason"]].assign(east_m=middle.x.round(1), north_m=middle.y.round(1))
    return str(told.to_csv(index=False, lineterminator="\n"))


def begin(out: Path, /) -> str:
    """Keep what an earlier refresh wrote; to be told to `note_step`."""
    return keep_by_content(out)


def _covered(out: Path) -> BaseGeometry | None:
    path = out / "work" / "outline.gpkg"
    return layers.read_outline(path)[0] if path.exists() else None


def note_step(old: OldMap, out: Path, kept: Kept, before: str, /) -> None:
    """Note a refresh in the log, if it made another map than was there.

    Parameters
    ----------
    before : what `begin` gave before anything was written
    """
    steps, after = read_log(out), keep_by_content(out)
    if _maps_of(before) == _maps_of(after):
        return
    steps.append(
        Step(
            step=len(steps) + 1,
            at=datetime.datetime.now().isoformat(timespec="seconds"),
            what=REFRESH,
            old=str(old.source),
            old_sha256=_sha256(old.source),
            kept=kept.n_kept,
            new=kept.n_new,
            carried=kept.n_carried,
            left_out=len(kept.left_out),
            undoes=0,
            before=before,
            after=after,
        )
    )
    write_log(out, steps)


def _maps_of(told: str) -> dict[str, str]:
    """The maps that a step tells of: the same refresh done again gives the same maps."""
    return {name: mark for name, mark in files_of(told).items() if name.endswith(".gpkg")}


def _sha256(source: Path) -> str:
    """Checksum of the map that was read; of a folder that of the map in it."""
    names = (source, source / MAP, source / "draft.gpkg")
    path = next((path for path in names if path.is_file()), None)
    return sha256_of(path) if path else ""


def undo(out: Path, /) -> str:
    """Take the last refresh back: its files are what they were before; what to say of it.

    The files as they are now are kept by their content as well, so that nothing is lost.

    Raises
    ------
    InputError
        If there is no refresh to take back.
    """
    steps = read_log(out)
    last = last_to_undo(steps)
    if last is None:
        raise InputError(f"{out / LOG}: tells of no refresh that could be undone")
    now = keep_by_content(out)
    restore(out, last.before)
    step = Step(
        step=len(steps) + 1,
        at=datetime.datetime.now().isoformat(timespec="seconds"),
        what=UNDO,
        old=last.old,
        old_sha256=last.old_sha256,
        kept=0,
        new=0,
        carried=0,
        left_out=0,
        undoes=last.step,
        before=now,
        after=last.before,
    )
    steps = [*steps, step]
    write_log(out, steps)
    return _undone(last, files_of(now), steps)


def _undone(last: Step, now: dict[str, str], steps: list[Step]) -> str:
    """What is said of a refresh that was taken back."""
    before = files_of(last.before)
    lines = [f"Taken back: the refresh of {last.at.replace('T', ' ')} from {last.old} (step {last.step} in {LOG})."]
    if restored := [name for name in FILES if name in before]:
        lines.append(f"As they were before it: {', '.join(restored)}.")
    if gone := [name for name in FILES if name in now and name not in before]:
        lines.append(f"Gone, as before it: {', '.join(gone)}.")
    if MAP in now and now[MAP] != files_of(last.after).get(MAP):
        lines.append(f"You had changed {MAP} since: as you left it, it is kept as {STORE}/{now[MAP]}.gpkg.")
    lines.append("The draft and OLD were not touched.")
    earlier = last_to_undo(steps)
    if earlier is not None:
        lines.append(f"Once more takes back the refresh before, from {earlier.old}.")
    return "\n".join(lines) + "\n"


def describe_kept(kept: Kept, old: OldMap, /) -> list[str]:
    """What a mapper is told of the refreshed map, and of how the earlier map was read, a sentence each."""
    carried = f", {kept.n_carried:,} of the old draft beyond the new tiles" if kept.n_carried else ""
    n_out = len(kept.left_out)
    yours = f"{counted(kept.n_kept, 'feature')} of yours as they were" if kept.n_kept else "nothing of yours"
    gave_way = f"; {counted(n_out, 'feature')} of the new draft gave way to yours ({GAVE_WAY})" if n_out else ""
    holds = f"{MAP} holds {yours} and {counted(kept.n_new, 'feature')} of the new draft"
    return [f"{_read_as(old)} {holds}{carried}{gave_way}.", *(f"Of the old map: {note}." for note in old.notes)]


def _read_as(old: OldMap) -> str:
    if old.kind == "map":
        return f"{old.source.name} was read as a finished map: all of it is yours."
    yours = f"{old.source.name} was read as a draft: yours is what has a 'status' of yours or was drawn by you"
    if old.knows_edits:
        return f"{yours} or changed."
    return (
        f"{yours}. What you changed otherwise cannot be told, as there is no copy of this draft as it was written: if "
        "all of it is yours, set 'status' to 'confirmed' everywhere and refresh again."
    )
