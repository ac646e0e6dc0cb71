"""The first look at lumps: what the returns inside their outlines show, quick enough for all of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.rock.boulders.batches import batches_of, joined
from pipeline.rock.boulders.caps import look_at_caps, refined, returns_near
from pipeline.rock.boulders.low_returns import Floats, LowReturns
from pipeline.rock.boulders.lumps import Lumps

SMALL_DISC_M = 2.5
"""Lumps of a smaller radius are measured from the ground that only narrow boulders are cut off."""


@dataclass(frozen=True)
class FirstLook:
    """Measures of k lumps from the returns inside their outline alone, all (k,) float64; names as in `Evidence`.

    Attributes
    ----------
    radius_m : of the disc
    filled : area of the outline drawn around what lies on the cap, as a share of the disc
    aspect : long axis of that outline over its short one
    """

    n_on: Floats
    n_off: Floats
    n_through: Floats
    full: Floats
    n_inside: Floats
    n_over: Floats
    cap_rms_m: Floats
    height_m: Floats
    grain_m: Floats
    dome: Floats
    tilt: Floats
    high: Floats
    radius_m: Floats
    open_share: Floats
    filled: Floats
    aspect: Floats


def look_at(low: LowReturns, lumps: Lumps, /) -> FirstLook:
    """Measure the returns inside the outline of every lump over the opened ground."""
    return joined([_look_at_batch(low, batch) for batch in batches_of(lumps)])


def _look_at_batch(low: LowReturns, lumps: Lumps, /) -> FirstLook:
    near = returns_near(low, lumps, 0.0)
    is_small = (lumps.half_axes_m[:, 1] < SMALL_DISC_M)[near.lump]
    caps = look_at_caps(near, np.where(is_small, low.above_near_m[near.index], low.above_m[near.index]), lumps)
    disc, solid = lumps.half_axes_m, refined(near, lumps, caps.is_on).half_axes_m
    return FirstLook(
        n_on=caps.n_on,
        n_off=caps.n_off,
        n_through=caps.n_through,
        full=caps.full,
        n_inside=caps.n_inside,
        n_over=caps.n_over,
        cap_rms_m=caps.rms_m,
        height_m=np.nan_to_num(caps.height_m),
        grain_m=caps.grain_m,
        dome=caps.dome,
        tilt=caps.tilt,
        high=caps.high,
        radius_m=disc[:, 0],
        open_share=lumps.open_share,
        filled=np.prod(solid, axis=1) / np.prod(disc, axis=1),
        aspect=solid[:, 1] / np.maximum(solid[:, 0], 0.05),
    )
