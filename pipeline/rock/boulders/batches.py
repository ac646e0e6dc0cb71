"""Lumps measured some at a time, so that what is known of the returns near them stays in a processor's cache."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from pipeline.rock.boulders.lumps import Lumps

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

BATCH = 1000
"""Lumps measured at a time: a third quicker than all at once (400 to 1000 took the same)."""

Part = TypeVar("Part", bound="DataclassInstance")


def batches_of(lumps: Lumps, /) -> Iterator[Lumps]:
    """The lumps, `BATCH` at a time; one empty batch where there are none."""
    for first in range(0, max(len(lumps), 1), BATCH):
        yield lumps.take(np.arange(first, min(first + BATCH, len(lumps))))


def joined(parts: Sequence[Part], /) -> Part:
    """The arrays of all parts, one after the other, as one of their kind."""
    names = [field.name for field in fields(parts[0])]
    return type(parts[0])(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in names})
