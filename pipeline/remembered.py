"""Results of pieces of work, found again by what they were made from.

When one tile of an area changes, a step that works on the whole area meets the pieces it met before nearly everywhere:
the same outlines to smooth, the same ways to walk. Such a step asks for what a piece gave the last time and works out
the others only. What it gets is what it would have worked out, byte for byte, as pieces are known by their whole input.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from io import BytesIO
from typing import Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

MARK_BYTES = 16
"""Length of the mark that a piece is known by: two of 10^12 pieces are alike by chance once in 10^14 (blake2b)."""


class Remembered(Protocol):
    """Where results of earlier runs are found (`pipeline.files.disk.pieces` keeps them on the disk)."""

    def __call__(
        self, what: str, made_from: Sequence[bytes], work_out: Callable[[list[int]], Sequence[bytes]], /
    ) -> list[bytes]:
        """The result of each piece, in the order of the pieces.

        Parameters
        ----------
        what : a name of the work, such as "opened outline"; pieces of two kinds of work are never mixed up
        made_from : everything that decides about the result of each piece, numbers such as radii included
            Settings and code need not be in it where they stand in the mark of the whole store.
        work_out : the results of the pieces of these numbers, which nobody remembers; not called where there are none
            The result of a piece must not depend on which others are worked out with it.
        """


def nothing_remembered(
    _what: str, made_from: Sequence[bytes], work_out: Callable[[list[int]], Sequence[bytes]], /
) -> list[bytes]:
    """Work everything out: what a pure function is given where nothing is kept."""
    return list(work_out(list(range(len(made_from))))) if made_from else []


def and_at_once(remembered: Remembered, /) -> Remembered:
    """Also found again while this is used: what was asked for a moment ago is not worked out a second time.

    For work in rounds, in which most pieces come again as they were in the round before.
    """
    known: dict[tuple[str, bytes], bytes] = {}

    def found(
        what: str, made_from: Sequence[bytes], work_out: Callable[[list[int]], Sequence[bytes]], /
    ) -> list[bytes]:
        marks = [(what, hashlib.blake2b(piece, digest_size=MARK_BYTES).digest()) for piece in made_from]
        missing = [number for number, mark in enumerate(marks) if mark not in known]
        asked = [made_from[number] for number in missing]
        made = remembered(what, asked, lambda numbers: work_out([missing[number] for number in numbers]))
        known.update({marks[number]: value for number, value in zip(missing, made, strict=True)})
        return [known[mark] for mark in marks]

    return found


def shapes_remembered(
    remembered: Remembered,
    what: str,
    made_from: Sequence[bytes],
    work_out: Callable[[list[int]], NDArray[np.object_]],
    /,
) -> NDArray[np.object_]:
    """Geometries as results: (n,) shapely geometries, bit for bit as they were worked out."""
    found = remembered(what, made_from, lambda numbers: list(shapely.to_wkb(work_out(numbers))))
    return np.asarray(shapely.from_wkb(np.array(found, dtype=object)), dtype=object)


def packed(arrays: Mapping[str, NDArray[np.generic]], /) -> bytes:
    """Named arrays as bytes, for results and inputs that are tables of numbers.

    Raises
    ------
    ValueError
        If an array holds Python objects.
    """
    buffer = BytesIO()
    for name, values in arrays.items():
        np.lib.format.write_array(buffer, np.array(name), allow_pickle=False)
        np.lib.format.write_array(buffer, np.asarray(values), allow_pickle=False)
    return buffer.getvalue()


def unpacked(value: bytes, /) -> dict[str, NDArray[np.generic]]:
    """What `packed` was given."""
    buffer, found = BytesIO(value), {}
    while buffer.tell() < len(value):
        name = str(np.lib.format.read_array(buffer, allow_pickle=False))
        found[name] = np.lib.format.read_array(buffer, allow_pickle=False)
    return found
