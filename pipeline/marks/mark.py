"""A mark: what a mapper said of one feature or place; and all marks of an area, with a log of where they came from."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

import shapely
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer
from shapely.geometry.base import BaseGeometry

Status = Literal["confirmed", "moved", "rejected", "new", "edited", "seen"]
"""What a mark says. `edited`: the mapper changed a value and said nothing on whether the thing is there; `seen`:
somebody came by in sight of it and made no mark."""
VERDICTS = ("confirmed", "moved", "rejected", "new")
"""Marks that say whether a thing is there."""
Value: TypeAlias = str | float | int | bool | None


def _shape_of(value: object) -> BaseGeometry:
    """A shape, or what GeoJSON says of one."""
    if isinstance(value, BaseGeometry):
        return value
    if not isinstance(value, dict):
        raise ValueError("a geometry is told as GeoJSON tells it")
    found: BaseGeometry = shapely.geometry.shape(value)
    return found


Shape = Annotated[
    BaseGeometry,
    BeforeValidator(_shape_of),
    PlainSerializer(shapely.geometry.mapping, return_type=dict[str, object]),
]
"""A geometry in metres of the working CRS. Its coordinates are written with all their digits, so that they come back
bit for bit."""


class _Record(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


class Was(_Record):
    """A feature as the draft proposed it, before anybody looked."""

    symbol: str
    confidence: float
    """What the draft stated without having learned from marks, 0 to 1."""
    status: str
    is_hardly_seen: bool = False
    """Whether it lies on ground that the survey hardly saw (600.1)."""
    geometry: Shape


class Mark(_Record):
    """What was found of one feature, or at one place of the check list.

    Attributes
    ----------
    id : of the feature in draft.gpkg, or of the place in the check list
    symbol : what it is by the mark; for a place, the answer that was given there
    at : when it was found, ISO 8601; "" where nobody says
    source : the file that the mark came in
    is_place : whether it answers a question of the check list that is about no feature
    name, minutes : of the row of the check list that it settles; "" and 0 where it settles none
    layer : layer of draft.gpkg that the feature lies in
    geometry : where it is; as `was` where it was not moved
    has_moved : whether the geometry is the mapper's and no longer the draft's
    is_deleted : whether the mapper took the row out of the draft, rather than marking it as rejected
    changed : columns of the feature that the mapper wrote, as written
    row : all columns of the feature, for the day on which a draft no longer finds it
    """

    id: str
    status: Status
    symbol: str = ""
    note: str = ""
    at: str = ""
    source: str = ""
    is_place: bool = False
    name: str = ""
    minutes: float = 0.0
    layer: str = ""
    geometry: Shape | None = None
    has_moved: bool = False
    is_deleted: bool = False
    changed: dict[str, Value] = Field(default_factory=dict)
    row: dict[str, Value] = Field(default_factory=dict)
    was: Was | None = None

    @property
    def is_verdict(self) -> bool:
        """Whether it says that the thing is there or is not."""
        return self.status in VERDICTS

    @property
    def is_on_the_map(self) -> bool:
        """Whether the mark puts a feature on the map as a sure one."""
        return self.status in ("confirmed", "moved", "new") and not self.is_place


class Entry(_Record):
    """A line of the log: one file that was read."""

    at: str
    source: str
    sha256: str = ""
    counts: dict[str, int] = Field(default_factory=dict)
    replaced: list[str] = Field(default_factory=list)
    """Earlier marks that a mark of this file took the place of: `id: before -> after`."""


class Kept(_Record):
    """All marks of an area, one for each id.

    Attributes
    ----------
    crs : in which geometries are given
    marks : in order of their ids
    log : files that were read, the first one first
    """

    crs: str
    marks: list[Mark] = Field(default_factory=list)
    log: list[Entry] = Field(default_factory=list)

    @property
    def by_id(self) -> dict[str, Mark]:
        """Marks by their id."""
        return {mark.id: mark for mark in self.marks}
