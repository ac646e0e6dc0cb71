"""The fitted trees behind the boulder confidence: their file, what makes it valid, and the walk down them.

A tree asks one measure of a lump after the other and ends at a leaf; the leaves of all trees, and an offset, add up to
the log odds that the lump is rock. The numbers are data (`config/boulder_trees.json`), made by
`python -m tests.benchmarks.rock_fit`, which also writes down what they were fitted to.
"""

from __future__ import annotations

import datetime
import functools
from collections.abc import Mapping
from typing import Annotated

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, JsonValue, ValidationError, model_validator

from pipeline.errors import SettingsError
from pipeline.rock.boulders.low_returns import Floats
from pipeline.shipped import BOULDER_TREES

# fmt: off
FIRST_LOOK_MEASURES = frozenset((
    "aspect", "count", "dome", "filled", "full", "grain", "height", "high", "inside", "off", "open", "over",
    "radius", "rough", "smooth", "through", "tilt",
))
"""Measures the trees of the first look may ask for: the keys of `pipeline.rock.boulders.confidence.first_terms`."""
FULL_MEASURES = frozenset((
    "alone", "aspect", "bank", "bright", "clutter", "core", "count", "dome", "drop", "flat", "foot", "full", "grain",
    "height", "high", "inside", "lean", "off", "open", "over", "plane", "relative", "ridge", "ring", "rough", "size",
    "slender", "smooth", "through", "unseen", "whole",
))
"""Measures the trees of the full evidence may ask for: the keys of its `boulder_terms`."""
# fmt: on


class _Part(BaseModel):
    """A part of the file: no other keys than those listed, no infinite numbers, never changed after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Tree(_Part):
    """One tree. A split is a measure, a limit, where to go up to the limit, and where to go above it.

    A number from 0 is a split, counted from the top; one below 0 is a leaf: -1 the first, -2 the second.
    """

    splits: Annotated[tuple[tuple[str, float, int, int], ...], Field(min_length=1)]
    leaves: tuple[float, ...]

    @model_validator(mode="after")
    def _every_split_and_leaf_is_reached_once(self) -> Tree:
        ways = [(at, to) for at, split in enumerate(self.splits) for to in split[2:]]
        goals = [*range(-len(self.leaves), 0), *range(1, len(self.splits))]
        if sorted(to for _, to in ways) != goals:
            raise ValueError("a tree must lead to each of its splits and leaves exactly once")
        if any(0 <= to <= at for at, to in ways):
            raise ValueError("a split must lead onwards, to a later split or a leaf")
        return self


class Forest(_Part):
    """Trees whose leaves add up, with the log odds they start from."""

    offset: float
    trees: tuple[Tree, ...]

    @property
    def measures(self) -> frozenset[str]:
        """Every measure that some tree asks for."""
        return frozenset(split[0] for tree in self.trees for split in tree.splits)


class FirstLookForest(Forest):
    """Trees of the first look; lumps with log odds below `least` are not measured in full."""

    least: float


class Company(_Part):
    """Weights of `pipeline.rock.boulders.company.company_terms`, in its order."""

    offset: float
    stretch: float
    per_log_lookalikes: float
    per_log_boulders: float


class BoulderTrees(_Part):
    """The whole file: what was fitted, and by which command, when, and to what."""

    what: str
    made_by: str
    made_on: datetime.date
    made_from: dict[str, JsonValue]
    company: Company
    first_look: FirstLookForest
    full: Forest

    @model_validator(mode="after")
    def _only_known_measures(self) -> BoulderTrees:
        unknown = (self.first_look.measures - FIRST_LOOK_MEASURES) | (self.full.measures - FULL_MEASURES)
        if unknown:
            raise ValueError(f"no lump is measured for {', '.join(sorted(unknown))}")
        return self


@functools.cache
def boulder_trees() -> BoulderTrees:
    """The trees as they are shipped; read once a process, in about 10 ms.

    Raises
    ------
    SettingsError
        If `config/boulder_trees.json` is missing or was changed into something that cannot be used.
    """
    try:
        return read_trees(BOULDER_TREES.read_bytes())
    except (OSError, SettingsError) as error:
        raise SettingsError(f"{BOULDER_TREES}: {error} Restore the file as it was shipped.") from error


def read_trees(record: bytes, /) -> BoulderTrees:
    """The trees of the text of `config/boulder_trees.json`.

    Raises
    ------
    SettingsError
        Naming the first place that does not fit and what is wrong there.
    """
    try:
        return BoulderTrees.model_validate_json(record)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False, include_input=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        raise SettingsError(
            f"not the fitted trees of boulders: {f'at {place}: ' if place else ''}{first['msg']}."
        ) from error


def odds_by_trees(terms: Mapping[str, Floats], forest: Forest, /) -> Floats:
    """(k,) log odds: the forest's offset and what the leaf of each tree that a lump falls into adds.

    Parameters
    ----------
    terms : measure -> (k,) float64
        At least the measures that the forest asks for.
    """
    names = sorted(terms)
    column = {name: i for i, name in enumerate(names)}
    values = np.column_stack([terms[name] for name in names])
    total = np.full(len(values), forest.offset)
    for tree in forest.trees:
        measure = np.array([column[name] for name, *_ in tree.splits])
        most, low, high = np.array([split[1:] for split in tree.splits], np.float64).T
        at = np.zeros(len(values), np.int64)
        walking = np.arange(len(values))
        while len(walking):
            split = at[walking]
            is_low = values[walking, measure[split]] <= most[split]
            at[walking] = np.where(is_low, low[split], high[split]).astype(np.int64)
            walking = walking[at[walking] >= 0]
        total += np.asarray(tree.leaves)[~at]
    return total
