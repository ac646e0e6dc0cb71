"""How likely a lump is rock: log odds read from fitted trees, few of them at the first look and more in full.

The trees are boosted (Friedman 2001, Annals of Statistics 29(5) 1189-1232), as measures speak for rock only together:
returns over the cap tell a crown over a boulder from a bough by how hard the edge below is.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from pipeline.rock.boulders.evidence import SECTORS, Evidence
from pipeline.rock.boulders.first_look import FirstLook
from pipeline.rock.boulders.lumps import Floats
from pipeline.rock.boulders.tables import (
    BOULDER_OFFSET,
    BOULDER_TREES,
    FIRST_LOOK_LEAST,
    FIRST_LOOK_OFFSET,
    FIRST_LOOK_TREES,
    Trees,
)

LEAST_LUMP_RETURNS = 3
"""Fewer last returns than this cannot show a shape, so nothing is proposed."""
BOULDER_UNSEEN_SECTORS = 2.0
"""Of eight sectors around a lump so many may hold no ground return without harm: its height is still measured from
three sides."""
BOULDER_UNSEEN_LOG_ODDS = 0.8
"""Log odds a lump loses for each further sector: with all of them unseen a sure one (0.95) is left at 0.13 (common
practice, no source)."""

FOLIAGE_RMS_M = 0.35
"""How far returns from boughs scatter about a smooth cap fitted to them."""


def first_terms(first: FirstLook, /) -> dict[str, Floats]:
    """The measures of the first look, (k,) each, by name."""
    n = np.maximum(first.n_on, 1.0)
    return {
        "through": first.n_through / (n + first.n_through),
        "off": first.n_off / n,
        "rough": first.cap_rms_m,
        "count": np.log(n),
        "smooth": _smoothness(n, first.cap_rms_m),
        "inside": first.n_inside / n,
        "over": first.n_over / n,
        "high": first.high,
        "grain": first.grain_m,
        "dome": first.dome,
        "tilt": first.tilt,
        "radius": first.radius_m,
        "open": first.open_share,
        "height": first.height_m,
        "filled": first.filled,
        "aspect": first.aspect,
    }


def boulder_terms(evidence: Evidence, /) -> dict[str, Floats]:
    """The measures of the full evidence, (k,) each, by name."""
    n = np.maximum(evidence.n_on, 1.0)
    height = np.maximum(np.nan_to_num(evidence.height_m), 0.3)
    size = np.sqrt(evidence.width_m * evidence.length_m)
    ring_m2 = np.pi * ((size / 2 + 2.5) ** 2 - size**2 / 4)
    through, off = evidence.n_through / (n + evidence.n_through), evidence.n_off / n
    smooth = _smoothness(n, evidence.fit_rms_m)
    return {
        "through": through,
        "off": off,
        "inside": evidence.n_inside / n,
        "over": evidence.n_over / n,
        "rough": evidence.fit_rms_m,
        "relative": evidence.fit_rms_m / height,
        "count": np.log(n),
        "smooth": smooth,
        "size": size,
        "height": height,
        "slender": height / size,
        "aspect": evidence.length_m / np.maximum(evidence.width_m, 0.1),
        "clutter": evidence.clutter,
        "foot": evidence.foot,
        "drop": evidence.drop,
        "open": evidence.open_share,
        "lean": evidence.lean_m,
        "ring": evidence.ring_rms_m,
        "unseen": 1 - evidence.sectors_seen / SECTORS,
        "ground": evidence.n_ring / ring_m2,
        "flat": evidence.flat_share,
        "grain": evidence.grain_m,
        "dome": evidence.dome,
        "high": evidence.high,
        "split": evidence.split,
    }


def _smoothness(n_on: Floats, rms_m: Floats) -> Floats:
    """Log likelihood ratio of rock to foliage for the scatter of `n_on` returns about a cap with four freedoms."""
    gain = np.log(FOLIAGE_RMS_M / np.clip(rms_m, 0.03, FOLIAGE_RMS_M))
    ratio: Floats = np.clip(n_on - 4, 0, 60) * gain
    return np.log1p(ratio)


def odds_by_trees(terms: Mapping[str, Floats], trees: Trees, offset: float, /) -> Floats:
    """(k,) log odds: the offset and what the leaf of each tree that a lump falls into adds."""
    names = sorted(terms)
    column = {name: i for i, name in enumerate(names)}
    values = np.column_stack([terms[name] for name in names])
    total = np.full(len(values), offset)
    for splits, leaves in trees:
        measure = np.array([column[name] for name, *_ in splits])
        most, low, high = np.array([split[1:] for split in splits], np.float64).T
        at = np.zeros(len(values), np.int64)
        walking = np.arange(len(values))
        while len(walking):
            split = at[walking]
            is_low = values[walking, measure[split]] <= most[split]
            at[walking] = np.where(is_low, low[split], high[split]).astype(np.int64)
            walking = walking[at[walking] >= 0]
        total += np.asarray(leaves)[~at]
    return total


def is_likely(first: FirstLook, /) -> NDArray[np.bool_]:
    """(k,) which lumps are worth measuring in full."""
    odds = odds_by_trees(first_terms(first), FIRST_LOOK_TREES, FIRST_LOOK_OFFSET)
    likely: NDArray[np.bool_] = odds >= FIRST_LOOK_LEAST
    return likely & (first.n_on >= LEAST_LUMP_RETURNS)


def boulder_confidence(evidence: Evidence, /) -> Floats:
    """(k,) probability that each lump is a boulder.

    By rule it is lower where the ground around was poorly seen: what stands on unseen ground may be a step or a bank.
    """
    odds = odds_by_trees(boulder_terms(evidence), BOULDER_TREES, BOULDER_OFFSET)
    unseen = np.maximum(SECTORS - evidence.sectors_seen - BOULDER_UNSEEN_SECTORS, 0)
    odds -= BOULDER_UNSEEN_LOG_ODDS * unseen
    return np.where(np.isfinite(evidence.height_m), 1 / (1 + np.exp(-odds)), 0.0)


def describe(evidence: Evidence, i: int, /) -> str:
    """The evidence for lump `i` as one sentence."""
    return (
        f"{evidence.n_on[i]:.0f} last returns on a solid lump {evidence.height_m[i]:.1f} m high and "
        f"{evidence.width_m[i]:.1f} by {evidence.length_m[i]:.1f} m, {evidence.n_through[i]:.0f} went through it; "
        f"{evidence.n_ring[i]:.0f} ground returns around{_sides(evidence, i)}{_steadiness(evidence, i)}; "
        f"could be {rival(evidence, i)}"
    )


def _sides(evidence: Evidence, i: int) -> str:
    """On how many sides the ground was seen, where not on all."""
    seen = evidence.sectors_seen[i]
    return "" if seen == SECTORS else f", on {seen:.0f} of {SECTORS} sides"


def _steadiness(evidence: Evidence, i: int) -> str:
    """What two flight lines or more say of it; it did not tell rock from boughs better, so no tree asks for it."""
    if evidence.n_lines[i] < 2:
        return ""
    return f"; {evidence.n_lines[i]:.0f} flight lines lay it {evidence.line_step_m[i]:.2f} m apart"


def rival(evidence: Evidence, i: int, /) -> str:
    """What else the lump could be."""
    size = float(np.sqrt(evidence.width_m[i] * evidence.length_m[i]))
    if evidence.lean_m[i] > 0.3:
        return "the lip of a step or a knoll"
    if size < 1.0:
        return "a stump"
    if evidence.flat_share[i] > 0.8 and evidence.height_m[i] > 1.5:
        return "a log pile or a hut"
    if evidence.length_m[i] > 2.5 * evidence.width_m[i]:
        return "a root plate, a log pile or a wall"
    return "a dense bush"
