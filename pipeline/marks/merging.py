"""Marks of several walks in one: one mark for each id, the later word wins, and a log says what it replaced."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence

from pipeline.marks.mark import Entry, Kept, Mark


def merged(
    kept: Kept, marks: Sequence[Mark], /, *, at: str, source: str, sha256: str = "", withdrawn: Collection[str] = ()
) -> Kept:
    """The marks with those of one more file.

    Of two marks on one thing the later one counts; where either does not say when it was made, the one that was handed
    over last. A walk past in sight (`seen`) never takes the place of a word.

    Parameters
    ----------
    at : when the file was read, ISO 8601
    sha256 : of the file, by which it is known when it comes again
    withdrawn : ids of marks that the mapper took back
    """
    found = kept.by_id
    replaced = [f"{name}: {found.pop(name).status} -> withdrawn" for name in withdrawn if name in found]
    for mark in marks:
        before = found.get(mark.id)
        if before and not _counts_more(mark, before):
            continue
        after = _over(mark, before) if before else mark
        if before and before != after:
            replaced.append(f"{mark.id}: {before.status} -> {after.status}")
        found[mark.id] = after
    counts = dict(sorted(Counter(str(mark.status) for mark in marks).items()))
    entry = Entry(at=at, source=source, sha256=sha256, counts=counts, replaced=replaced)
    return Kept(crs=kept.crs, marks=[found[name] for name in sorted(found)], log=[*kept.log, entry])


def _counts_more(mark: Mark, before: Mark) -> bool:
    if mark.status == "seen":
        return before.status == "seen"
    if before.status == "seen" or not mark.at or not before.at:
        return True
    return mark.at >= before.at


def _over(mark: Mark, before: Mark) -> Mark:
    """The later mark, with what the earlier one knew and the later one says nothing of."""
    update: dict[str, object] = {"was": before.was or mark.was, "row": before.row or mark.row}
    if before.name and not mark.name:
        update |= {"name": before.name, "minutes": before.minutes}
    if not mark.has_moved and before.has_moved and mark.status != "rejected":
        is_there = mark.status in ("confirmed", "moved")
        status = before.status if is_there and before.status in ("new", "moved") else mark.status
        update |= {"geometry": before.geometry, "has_moved": True, "status": status}
    written = {key: value for key, value in before.changed.items() if key != "status"}
    return mark.model_copy(update=update | {"changed": written | mark.changed})
