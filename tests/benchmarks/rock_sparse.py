"""Planted places as nature has them: boulders of fewer kinds of height and in other numbers than were planted.

Boulders are planted close together and as often at 1 to 2 m as at 2 to 4 m, so that few places show many shapes.
Confidence rests on how many there are, so what is fitted to lumps of such a place takes some of its boulders out first.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]

SIZE_EXPONENT, USUAL_HEIGHT_M, MOST_OF_LOW = 2.5, 1.5, 3.0
"""Rock breaks so that pieces wider than d are as many as d^-2.5 (Turcotte 1986, J. Geophys. Res. 91(B2) 1921-1926: most
materials 2.1 to 2.6; from memory). A planted boulder weighs so much less than one of the usual height the higher it is,
and a low one at most three times as much. With all weighing the same every high lump was believed: of those stated at
0.1 and more and 3 m high, 8 in 10 were boulders where they were planted, and 1 in 40 on four other blocks of relief."""
NATURAL_UP_TO_M = (2.2, 1.3, 0.8)
"""Heights from which boulders are taken out until those left are as many as nature has beside lower ones: each place is
shown three times, with some 8, 5 and 2 boulders from 1 m a hectare (our choice)."""
GONE_M = 3.5
"""Lumps this near to the middle of a boulder that is taken out go with it: `DRAWN_WITHIN_M` and what a lump is off."""


def as_often(height_m: Floats, from_m: float = USUAL_HEIGHT_M, /) -> Floats:
    """(k,) how often boulders so high are met beside those `from_m` high, among as many planted of each height."""
    often: Floats = (from_m / height_m) ** SIZE_EXPONENT
    return np.minimum(often, MOST_OF_LOW)


def sparser(part: pd.DataFrame, natural_from_m: float, within_m: float, rng: np.random.Generator, /) -> pd.DataFrame:
    """The lumps of a planted place with some boulders taken out, and a column `share`: how much each lump counts.

    Parameters
    ----------
    part : lumps of one place, as `tests.benchmarks.rock_fit.candidates` gives them
    natural_from_m : float
        Boulders higher than this stay as often as nature has them beside those of this height.
    within_m : float
        How near to a boulder a lump is one.

    Returns
    -------
    Table with `to_boulder` renewed. The weights of the boulders left have a mean of 1, so that they count as many.
    """
    rocks = _rocks(part)
    if not len(rocks):
        return part.assign(share=1.0)
    stays = rng.random(len(rocks)) < as_often(rocks.tall.to_numpy(), natural_from_m)
    at = part[["east", "north"]].to_numpy()
    apart, nearest = cKDTree(rocks[["east", "north"]].to_numpy()).query(at)
    is_left = (apart >= GONE_M) | stays[nearest]
    left = part[is_left]
    if not stays.any():
        return left.assign(to_boulder=np.inf, share=1.0)
    left_apart = cKDTree(rocks[stays][["east", "north"]].to_numpy()).query(at[is_left])[0]
    # Beside a boulder that is left the true distance holds; the places of boulders are known from their lumps only.
    is_near = (left.to_boulder.to_numpy() <= within_m) & (left_apart < GONE_M)
    to_boulder = np.where(is_near, left.to_boulder, np.maximum(left_apart, GONE_M))
    weight = np.clip(as_often(left.tall.to_numpy(np.float64), natural_from_m), 1.0, None)
    usual = float(np.clip(as_often(rocks.tall.to_numpy()[stays], natural_from_m), 1.0, None).mean())
    return left.assign(to_boulder=to_boulder, share=np.where(is_near, weight / usual, 1.0))


def _rocks(part: pd.DataFrame) -> pd.DataFrame:
    """Place and height of each planted boulder, by the lump nearest its middle and the middle height of its lumps."""
    lumps = part[(part.kind == "boulder") & (part.thing >= 0)].sort_values("to_boulder", kind="stable")
    by_thing = lumps.groupby("thing", sort=True)
    return by_thing[["east", "north"]].first().assign(tall=by_thing.tall.median().to_numpy(np.float64))
