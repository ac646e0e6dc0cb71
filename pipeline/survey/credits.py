"""Whose data were used without a word of who made them: most licences ask that a map names its sources."""

from __future__ import annotations

from collections.abc import Iterable


def missing_credits(lidar_credit: str, borrowed: Iterable[tuple[str, str]], /) -> tuple[str, ...]:
    """One sentence for the lidar and one for each other map of which the area file does not say who made it.

    Parameters
    ----------
    lidar_credit : what the area file says of the lidar
    borrowed : name of the file and what the area file says of it, for each map that is borrowed from
    """
    sentences = []
    if not lidar_credit.strip():
        sentences.append(
            "the area file does not say who made the lidar and under which licence: write 'credit:', it is printed "
            "on the sheet"
        )
    sentences += [
        f"the area file does not say who made {name} and under which licence: write 'credit:' below its 'file:'"
        for name, credit in dict.fromkeys(borrowed)
        if not credit.strip()
    ]
    return tuple(sentences)
