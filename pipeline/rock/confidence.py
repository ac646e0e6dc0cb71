"""How likely a lump is rock: the evidence added up on the scale of log odds."""

from __future__ import annotations

import numpy as np

from pipeline.rock.evidence import SECTORS, Evidence
from pipeline.rock.lumps import Floats

NAMES = ("one", "surprise", "through", "rough", "inside", "over", "foot", "slender", "ring", "unseen")


def evidence_terms(evidence: Evidence, /) -> Floats:
    """(k, 10) the evidence as numbers that add up, in the order of NAMES.

    `surprise` is how unlikely it is that as many pulses as hit the lump all ended in vegetation as dense as that
    around it (log10, at most 6).
    """
    n = np.maximum(evidence.n_on, 1.0)
    height = np.maximum(np.nan_to_num(evidence.height_m), 0.3)
    surprise = np.minimum(-n * np.log10(np.clip(evidence.clutter, 0.02, 0.98)), 6.0)
    return np.column_stack(
        (
            np.ones(len(n)),
            surprise,
            evidence.n_through / (n + evidence.n_through),
            np.minimum(evidence.fit_rms_m / 0.3, 2.0),
            np.minimum(evidence.n_inside / n, 1.5),
            np.minimum(evidence.n_over / n, 1.5),
            np.clip(evidence.foot, 0, 1),
            np.clip(np.log2(height / np.maximum(evidence.width_m, 0.2)), 0, 3),
            np.minimum(evidence.ring_rms_m / 0.2, 3.0),
            1 - evidence.sectors_seen / SECTORS,
        )
    )


WEIGHTS = np.array([-0.5, 0.9, -6.0, -1.5, -1.5, -0.5, -2.5, -1.5, -0.6, -1.5])
"""Log odds per unit of each term."""


def boulder_confidence(evidence: Evidence, /) -> Floats:
    """(k,) probability that each lump is a boulder."""
    sure: Floats = 1 / (1 + np.exp(-evidence_terms(evidence) @ WEIGHTS))
    return np.where(np.isfinite(evidence.height_m), sure, 0.0)


def describe(evidence: Evidence, i: int, /) -> str:
    """The evidence for lump `i` as one sentence."""
    return (
        f"{evidence.n_on[i]:.0f} last returns on a lump {evidence.height_m[i]:.1f} m high and "
        f"{evidence.width_m[i]:.1f} m wide, {evidence.n_through[i]:.0f} through it, {evidence.n_inside[i]:.0f} inside; "
        f"{evidence.n_ring[i]:.0f} ground returns around"
    )
