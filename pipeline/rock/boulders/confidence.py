"""How likely a lump is rock: log odds read from fitted trees, few of them at the first look and more in full.

The trees are boosted (Friedman 2001, Annals of Statistics 29(5) 1189-1232). One measure alone tells little: returns
above a lump may come from a crown over a boulder or from the bough that is the lump, and only how hard the edge below
is tells which.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.rock.boulders.evidence import SECTORS, Evidence
from pipeline.rock.boulders.first_look import FirstLook
from pipeline.rock.boulders.low_returns import Floats
from pipeline.rock.boulders.trees import boulder_trees, odds_by_trees


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
        "full": first.full,
        "aspect": first.aspect,
    }


def boulder_terms(evidence: Evidence, /) -> dict[str, Floats]:
    """The measures of the full evidence, (k,) each, by name."""
    n = np.maximum(evidence.n_on, 1.0)
    height = np.maximum(np.nan_to_num(evidence.height_m), 0.3)
    size = np.sqrt(evidence.width_m * evidence.length_m)
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
        "ridge": evidence.ridge,
        "bank": evidence.bank,
        "bright": evidence.brightness,
        "lean": evidence.lean_m,
        "ring": evidence.ring_rms_m,
        "unseen": 1 - evidence.sectors_seen / SECTORS,
        "flat": evidence.flat_share,
        "grain": evidence.grain_m,
        "dome": evidence.dome,
        "high": evidence.high,
        "core": evidence.core,
        "plane": evidence.core_rms_m,
        "whole": evidence.solid_inside,
        "alone": evidence.low_beside,
        "full": evidence.full,
    }


FOLIAGE_RMS_M = 0.35
"""How far returns from boughs scatter about a smooth cap fitted to them, rms in metres (our choice)."""


def _smoothness(n_on: Floats, rms_m: Floats) -> Floats:
    """Log likelihood ratio of rock to foliage for the scatter of `n_on` returns about a cap with four freedoms."""
    gain = np.log(FOLIAGE_RMS_M / np.clip(rms_m, 0.03, FOLIAGE_RMS_M))
    ratio: Floats = np.clip(n_on - 4, 0, 60) * gain
    return np.log1p(ratio)


LEAST_RETURNS = 3
"""Last returns that a lump needs on it to show a shape; with fewer nothing is proposed."""


def is_likely(first: FirstLook, /) -> NDArray[np.bool_]:
    """(k,) which lumps are worth measuring in full."""
    trees = boulder_trees().first_look
    likely: NDArray[np.bool_] = odds_by_trees(first_terms(first), trees) >= trees.least
    return likely & (first.n_on >= LEAST_RETURNS)


HARMLESS_UNSEEN_SECTORS = 2.0
"""Sectors around a lump, of eight, that may hold no ground return without harm: with six the ground plane, and so the
height, still rests on three sides (our choice)."""
UNSEEN_LOG_ODDS = 0.8
"""Log odds a lump loses for each further sector without ground: with all of them unseen, one of 0.95 is left at 0.13
(our choice)."""


def boulder_confidence(evidence: Evidence, /) -> Floats:
    """(k,) probability that each lump is a boulder.

    By rule it is lower where the ground around was poorly seen: what stands on unseen ground may be a step or a bank.
    """
    odds = odds_by_trees(boulder_terms(evidence), boulder_trees().full)
    unseen = np.maximum(SECTORS - evidence.sectors_seen - HARMLESS_UNSEEN_SECTORS, 0)
    odds -= UNSEEN_LOG_ODDS * unseen
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
    """How far apart flight lines lay the lump, where two or more saw it.

    For the reader only: given to the trees it told rock from boughs no better (measured).
    """
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
