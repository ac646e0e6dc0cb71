"""What the marks of a walk teach about what nobody has looked at yet: a shift of the log odds of each kind.

A draft may be too bold in one forest (stumps taken for boulders) and too timid in another. Of each kind the marks say
how many of the proposed things were there, against how many the stated confidences promised. The difference moves the
confidences of the things of that kind which are still open: far where many marks agree, hardly where there are few.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import scipy  # its parts take long to import and come when they are first used, in most runs never
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from pipeline.draft.choosing.status import ALWAYS_DRAWN, NOT_SEEN
from pipeline.marks.apply import SILENCE_SHARE
from pipeline.marks.mark import Kept, Mark
from pipeline.marks.matching import family_of

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]
LEAST_CONFIDENCE = 0.02
"""Confidences nearer to 0 or 1 count as this near: log odds have no end, and one stump with 0.999 would outweigh all
other marks (our choice)."""
LEAST_MARKS = 8
"""With fewer marks nothing is learned: one clearing that is gone would take others off the map. The fit of the priors
had 14 or more (our choice)."""
HARDLY = "hardly seen"
"""Group of what lies on ground that the survey hardly saw."""


@dataclass(frozen=True)
class Prior:
    """How far confidences are off in a place before anybody looked, one sigma of the log odds each.

    Attributes
    ----------
    section : of all things of a section of the norm
    family : of a kind of thing, such as boulders of all sizes, beside what its section has
    hardly_seen : of all things on ground hardly seen, beside what their kind has; our choice, as the scenes have next
        to no such ground

    The first two are fitted on the scenes scene_a, hard_moraine and hard_karst (`tests/benchmarks/updating.py`): the
    greatest mean gain with which what is left becomes more surprising by no more than 0.002 nats in any of them. A
    shift of all things of a place together gained nothing that these do not.
    """

    section: float = 0.8
    family: float = 0.3
    hardly_seen: float = 0.3


@dataclass(frozen=True)
class Evidence:
    """Things somebody has looked at, one value each.

    Attributes
    ----------
    symbol : (n,) texts
    stated : (n,) confidence before anything was learned, 0 to 1
    hardly_seen : (n,) bool
    is_there : (n,) bool
    weight : (n,) 1 for a mark, SILENCE_SHARE for a thing that was walked past
    """

    symbol: NDArray[np.str_]
    stated: Numbers
    hardly_seen: Flags
    is_there: Flags
    weight: Numbers


@dataclass(frozen=True)
class Learned:
    """Shifts of the log odds by group; 0 for a group without marks.

    Attributes
    ----------
    shifts : group -> shift; groups are sections ("section 2"), families ("204"), and HARDLY
    n : marks that taught them, walks past not counted
    """

    shifts: Mapping[str, float] = field(default_factory=dict)
    n: int = 0

    def shift_of(self, symbol: NDArray[np.str_], hardly_seen: Flags, /) -> Numbers:
        """(n,) shift of the log odds of each feature."""
        groups = [_groups(one, bool(hardly)) for one, hardly in zip(symbol, hardly_seen, strict=True)]
        return np.array([sum(self.shifts.get(group, 0.0) for group in own) for own in groups], np.float64)

    def applied(self, stated: Numbers, symbol: NDArray[np.str_], hardly_seen: Flags, /) -> Numbers:
        """(n,) confidence with what was learned. Contours and technical symbols keep theirs, as do 0 and 1."""
        moved = shifted(stated, self.shift_of(symbol, hardly_seen))
        fixed = np.isin(symbol, ALWAYS_DRAWN) | (stated <= 0) | (stated >= 1)
        return np.where(fixed, stated, moved)


def shifted(stated: Numbers, shift: Numbers, /) -> Numbers:
    """(n,) confidences with their log odds moved by (n,) `shift`."""
    inside = np.clip(stated, 1e-6, 1 - 1e-6)
    return np.asarray(
        np.where(shift == 0, stated, scipy.special.expit(scipy.special.logit(inside) + shift)), np.float64
    )


def _groups(symbol: str, is_hardly_seen: bool) -> list[str]:
    family = family_of(symbol)
    return [f"section {family[:1]}", family, *([HARDLY] if is_hardly_seen else [])]


def learn(evidence: Evidence, /, prior: Prior | None = None) -> Learned:
    """Shifts fitted to what was looked at.

    A logistic regression with the log odds of the stated confidence as offset and one normal prior around 0 for each
    group (`Prior`), so that a group with few marks stays near what was stated; the fit is the likeliest one (maximum a
    posteriori). No library fits it with an offset and a prior of its own for each group.
    """
    n = len(evidence.symbol)
    if n == 0:
        return Learned()
    own = [_groups(one, bool(hard)) for one, hard in zip(evidence.symbol, evidence.hardly_seen, strict=True)]
    names = sorted({group for groups in own for group in groups})
    member = np.array([[name in groups for name in names] for groups in own], np.float64)
    sigma = np.array([_sigma(name, prior or Prior()) for name in names])
    offset = scipy.special.logit(np.clip(evidence.stated, LEAST_CONFIDENCE, 1 - LEAST_CONFIDENCE))
    sign = np.where(evidence.is_there, 1.0, -1.0)

    def cost(shift: Numbers) -> tuple[float, Numbers]:
        against = sign * (offset + member @ shift)
        slope = -evidence.weight * sign * scipy.special.expit(-against)
        value = float((evidence.weight * np.logaddexp(0, -against)).sum() + 0.5 * ((shift / sigma) ** 2).sum())
        return value, np.asarray(member.T @ slope + shift / sigma**2, np.float64)

    best = scipy.optimize.minimize(cost, np.zeros(len(names)), jac=True, method="L-BFGS-B")
    shifts = {name: round(float(value), 4) for name, value in zip(names, best.x, strict=True)}
    return Learned(shifts, int((evidence.weight >= 1).sum()))


def _sigma(group: str, prior: Prior) -> float:
    if group == HARDLY:
        return prior.hardly_seen
    return prior.section if group.startswith("section") else prior.family


def evidence_of(marks: Sequence[Mark], /) -> Evidence:
    """What marks on features of the draft say.

    A feature that is there as another kind of thing was wrongly proposed. A walk past in sight says that a drawn
    feature is there and a candidate is not, with the weight of SILENCE_SHARE.
    """
    told = [mark for mark in marks if mark.was and not mark.is_place and mark.status in _TEACHES]
    told = [mark for mark in told if mark.was and mark.was.symbol not in ALWAYS_DRAWN and mark.was.status != "imported"]
    were = [mark.was for mark in told if mark.was]
    return Evidence(
        symbol=np.array([was.symbol for was in were], str),
        stated=np.array([was.confidence for was in were], np.float64),
        hardly_seen=np.array([was.is_hardly_seen for was in were], np.bool_),
        is_there=np.array([_is_there(mark) for mark in told], np.bool_),
        weight=np.array([SILENCE_SHARE if mark.status == "seen" else 1.0 for mark in told], np.float64),
    )


_TEACHES = ("confirmed", "moved", "rejected", "seen")


def _is_there(mark: Mark) -> bool:
    if mark.was is None or mark.status == "rejected":
        return False
    if mark.status == "seen":
        return mark.was.status != "candidate"
    return family_of(mark.symbol or mark.was.symbol) == family_of(mark.was.symbol)


def learned_from(kept: Kept, /) -> Learned:
    """What all marks of an area teach; nothing while there are fewer than LEAST_MARKS."""
    learned = learn(evidence_of(kept.marks))
    return learned if learned.n >= LEAST_MARKS else Learned()


def on_hardly_seen(features: gpd.GeoDataFrame, unseen: Sequence[BaseGeometry], /) -> Flags:
    """(n,) whether features touch ground that the survey hardly saw.

    Parameters
    ----------
    unseen : the areas of symbol 600.1
    """
    hits = shapely.STRtree(list(unseen)).query(features.geometry.to_numpy(), predicate="intersects")[0]
    return np.asarray(np.isin(np.arange(len(features)), hits), np.bool_)


def with_learned(features: gpd.GeoDataFrame, learned: Learned, unseen: Sequence[BaseGeometry], /) -> gpd.GeoDataFrame:
    """Features before they are composed, with confidences moved by what was learned.

    Parameters
    ----------
    unseen : the areas of symbol 600.1, from whatever section
    """
    if not learned.shifts or features.empty:
        return features
    symbol = features["symbol"].to_numpy(str)
    stated = features["confidence"].to_numpy(np.float64)
    return features.assign(confidence=learned.applied(stated, symbol, on_hardly_seen(features, unseen)))


def hardly_seen_ground(tables: Iterable[gpd.GeoDataFrame], /) -> list[BaseGeometry]:
    """The areas of symbol 600.1 in some tables of features."""
    return [shape for table in tables for shape in table.geometry[table["symbol"].astype(str) == NOT_SEEN]]


def stated_before(layers: Mapping[str, gpd.GeoDataFrame], learned: Learned, /) -> dict[str, tuple[float, str, bool]]:
    """Id -> confidence before anything was learned, status, whether on ground hardly seen; of a composed draft.

    The confidence is reckoned back from the one that is shown, so it is off by what rounding took.
    """
    unseen = hardly_seen_ground(layers.values())
    found: dict[str, tuple[float, str, bool]] = {}
    for table in layers.values():
        if table.empty:
            continue
        symbol, shown = table["symbol"].to_numpy(str), table["confidence"].to_numpy(np.float64)
        hardly = on_hardly_seen(table, unseen)
        before = shifted(shown, -learned.shift_of(symbol, hardly))
        fixed = np.isin(symbol, ALWAYS_DRAWN) | (shown <= 0) | (shown >= 1) | (table["origin"] != "lidar").to_numpy()
        stated = np.where(fixed, shown, before).round(4)
        rows = zip(table["id"].astype(str), stated, table["status"].astype(str), hardly, strict=True)
        found |= {name: (float(share), status, bool(hard)) for name, share, status, hard in rows}
    return found
