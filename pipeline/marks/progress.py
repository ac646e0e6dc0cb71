"""How far the check list is done, and what is left of it."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pandas as pd

from pipeline.marks.learning import Learned, shifted
from pipeline.marks.mark import Kept, Mark

PROGRESS_COLUMNS = ("confirmed", "moved", "rejected", "edited", "seen")


def is_done(mark: Mark, /) -> bool:
    """Whether a mark settles a row of the check list. A changed value alone says nothing on the question."""
    return mark.status != "edited"


def open_rows(listed: pd.DataFrame, kept: Kept, /) -> pd.DataFrame:
    """The rows of the check list that no mark has settled, in their order."""
    return listed[~listed["id"].astype(str).isin(done_ids(kept))].reset_index(drop=True)


def done_ids(kept: Kept, /) -> set[str]:
    """Ids of features and places that nobody need be sent to any more."""
    return {mark.id for mark in kept.marks if is_done(mark)}


def ranked_anew(rows: pd.DataFrame, before: Learned, after: Learned, /) -> pd.DataFrame:
    """Open rows with the confidences and the order that the marks so far teach.

    The worth of a look goes with the chance that the draft is wrong there: a drawn feature that is not there, a
    candidate that is. Where this chance changes, the worth changes in proportion; names stay.

    Parameters
    ----------
    rows : with symbol, kind, confidence, worth
    before, after : what the confidences of the rows have learned already, and what they are to have learned
    """
    if rows.empty or "worth" not in rows:
        return rows
    confidence = pd.to_numeric(rows["confidence"], errors="coerce").to_numpy(np.float64)
    worth = pd.to_numeric(rows["worth"], errors="coerce").fillna(0.0).to_numpy(np.float64)
    is_candidate = (rows["kind"] == "candidate").to_numpy()
    is_feature = np.isin(rows["kind"], ("candidate", "doubtful")) & np.isfinite(confidence)
    symbol, nowhere = rows["symbol"].to_numpy(str), np.zeros(len(rows), np.bool_)
    inside = np.where(is_feature & (confidence > 0) & (confidence < 1), confidence, 0.5)
    shift = after.shift_of(symbol, nowhere) - before.shift_of(symbol, nowhere)
    moved = shifted(inside, shift)
    ratio = np.where(is_candidate, moved / inside, (1 - moved) / (1 - inside))
    changed = is_feature & (inside == confidence)
    told = rows.assign(
        confidence=np.where(changed, moved.round(3), confidence), worth=np.where(changed, worth * ratio, worth).round(4)
    )
    told = told.sort_values("worth", ascending=False, kind="stable").reset_index(drop=True)
    return told.assign(rank=np.arange(1, len(told) + 1))


def progress_of(listed: pd.DataFrame, kept: Kept, /) -> dict[str, object]:
    """What is done of the list, in rows and in minutes of looking; the content of `fieldwork/progress.json`.

    The whole is what is open now and every row that a mark has settled, on whatever day.
    """
    settled = [mark for mark in kept.marks if mark.name and is_done(mark)]
    left = open_rows(listed, kept)
    minutes_left = float(left["minutes"].sum()) if len(left) else 0.0
    minutes_done = float(sum(mark.minutes for mark in settled))
    counts = Counter(str(mark.status) for mark in settled)
    return {
        "listed": len(settled) + len(left),
        "done": len(settled),
        "left": len(left),
        "done_percent": _percent(len(settled), len(settled) + len(left)),
        "hours_done": round(minutes_done / 60, 2),
        "hours_left": round(minutes_left / 60, 2),
        "hours_percent": _percent(minutes_done, minutes_done + minutes_left),
        "by_status": {status: counts.get(status, 0) for status in PROGRESS_COLUMNS},
        "new": sum(mark.status == "new" for mark in kept.marks),
        "not_on_the_list": sum(not mark.name and mark.status not in ("new", "edited") for mark in kept.marks),
        "by_kind": {str(kind): int(n) for kind, n in left["kind"].value_counts().items()} if len(left) else {},
    }


def _percent(part: float, whole: float) -> float:
    return round(100 * part / whole, 1) if whole > 0 else 0.0
