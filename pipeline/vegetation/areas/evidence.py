"""Why an area is drawn as it is, in one sentence, and how likely a mapper would draw the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from pipeline.lattice.grid import Heights
from pipeline.vegetation.areas.owners import Owners
from pipeline.vegetation.running.density import model_error
from pipeline.vegetation.running.runnability import BAND_OF, Limits

Numbers = NDArray[np.float64]

AREA_ERROR_SHARE = 0.3
"""Standard error of the mean density of an area, as a share of that of one window: some ten windows of 38 m2 fit into
an area of a few hundred (our choice; unmeasured)."""
RUNNER_SPREAD_RATIO = 0.2
"""One sigma of the natural logarithm of the density at which different runners draw the same band (our choice;
unmeasured)."""
GROWTH_SPREAD_RATIO = 0.5
"""One sigma of the natural logarithm of the share of growth at which different mappers call open land rough: a factor
of 1.6 (our choice; unmeasured)."""
CONFIDENCE_RANGE = (0.05, 0.95)
"""No area is surer or less sure than this: seasons change and owners mow (our choice)."""


PROFILE_SUMS = ("entered", "growth", "growth_height_sum_m", "pulses", "tree_pulses", "stopped_visibility")
"""Grids of `pipeline.terrain.profile.profile_grids` that are added up over each area."""

AREA_SUMS = ("seen", "density", "low", "error", *PROFILE_SUMS)
"""Cells where the running layer was seen, the sums of `Running` there, and PROFILE_SUMS."""


@dataclass(frozen=True)
class Running:
    """What is known of the running layer in each cell, m2/m3, (rows, cols) each; NaN where not seen.

    Attributes
    ----------
    density : of the layer
    low : what of it stands below eye height
    error : one standard error of `density` by the number of pulses
    """

    density: Heights
    low: Heights
    error: Heights


def measure_areas(
    owner: Owners, n_areas: int, running: Running, profile: Mapping[str, Heights], /
) -> dict[str, Numbers]:
    """Sums over the cells of each area by name, (n,) each: what `describe_areas` asks for.

    Areas cut in pieces have the sums of their pieces.

    Parameters
    ----------
    owner : (rows, cols) of `pipeline.vegetation.areas.owners.owners`
    n_areas : number of areas n
    profile : grids of `pipeline.terrain.profile.profile_grids`
    """
    owned = np.flatnonzero(owner)
    area = owner.ravel()[owned] - 1

    def total(values: Heights) -> Numbers:
        return np.bincount(area, np.nan_to_num(values.ravel()[owned]), minlength=n_areas).astype(np.float64)

    sums = {"seen": total(np.isfinite(running.density).astype(np.float32))}
    sums |= {name: total(getattr(running, name)) for name in ("density", "low", "error")}
    return sums | {name: total(profile[name]) for name in PROFILE_SUMS}


@dataclass(frozen=True)
class _Totals:
    """Means and sums over each area, (n,) each."""

    density: Numbers
    low: Numbers
    error: Numbers
    entered: Numbers
    growth: Numbers
    growth_height_sum_m: Numbers
    pulses: Numbers
    tree_pulses: Numbers
    stopped_visibility: Numbers

    @classmethod
    def of(cls, sums: Mapping[str, Numbers]) -> _Totals:
        seen = np.maximum(sums["seen"], 1)
        means = {name: sums[name] / seen for name in ("density", "low", "error")}
        return cls(**means, **{name: sums[name] for name in PROFILE_SUMS})

    @property
    def growth_ratio(self) -> Numbers:
        return self.growth / np.maximum(self.entered, 1)

    @property
    def growth_height_m(self) -> Numbers:
        return self.growth_height_sum_m / np.maximum(self.growth, 1)

    @property
    def cover_ratio(self) -> Numbers:
        return self.tree_pulses / np.maximum(self.pulses, 1)


def describe_areas(
    symbols: Sequence[str],
    sums: Mapping[str, Numbers],
    /,
    *,
    limits: Limits,
    rough_growth_ratio: float,
    visibility_bottom_m: float,
) -> tuple[list[str], Numbers]:
    """Evidence (n texts) and confidence (n, 0..1) of areas.

    Confidence is the probability that the area's true density lies within its band, when what the survey measures
    scatters by `model_error` (how plants stand, how high runners step) and by its standard error, and runners by
    RUNNER_SPREAD_RATIO. In open land it is the probability that the share of growth lies on its side of
    `rough_growth_ratio`. In made forests whose plants stand otherwise than the estimate takes them to, and on which
    nothing was fitted (`tests/benchmarks/undergrowth_scenes.py`), areas are given 0.79 on average and 0.87 of them are
    mostly in their band; in clumps on a quarter of the ground or with lying leaves they are surer than they are right.
    What mappers drew has not been compared.

    Parameters
    ----------
    symbols : (n,) of AREA_SYMBOLS
    sums : of `measure_areas`
    limits : densities (m2/m3) where 406, 408 and 410 begin
    rough_growth_ratio : share of pulses that meet grass or heath from which open land is rough
    visibility_bottom_m : height above ground from which growth hides the view
    """
    if not len(symbols):
        return [], np.empty(0)
    totals = _Totals.of(sums)
    is_open = np.array([symbol not in BAND_OF for symbol in symbols])
    confidence = np.where(
        is_open,
        _open_confidence(totals, symbols, rough_growth_ratio=rough_growth_ratio),
        _band_confidence(totals, symbols, limits=limits),
    )
    sentences = [
        _open_sentence(totals, i) if is_open[i] else _band_sentence(totals, i, visibility_bottom_m)
        for i in range(len(symbols))
    ]
    return sentences, np.clip(confidence, *CONFIDENCE_RANGE)


def _band_confidence(totals: _Totals, symbols: Sequence[str], *, limits: Limits) -> Numbers:
    edges = np.array([1e-6, *limits, 1e6])
    band = np.array([BAND_OF.get(symbol, 0) for symbol in symbols])
    value = np.maximum(totals.density, 1e-3)
    spread = np.hypot(RUNNER_SPREAD_RATIO, model_error(value, totals.low) / value)
    sigma = np.hypot(spread, AREA_ERROR_SHARE * totals.error / value)
    low, high = np.log(edges[band]), np.log(edges[band + 1])
    inside: Numbers = ndtr((high - np.log(value)) / sigma) - ndtr((low - np.log(value)) / sigma)
    return inside


def _open_confidence(totals: _Totals, symbols: Sequence[str], *, rough_growth_ratio: float) -> Numbers:
    is_rough = np.isin(symbols, ["403", "404"])
    apart = np.log(np.maximum(totals.growth_ratio, 1e-3) / rough_growth_ratio) / GROWTH_SPREAD_RATIO
    sure: Numbers = np.where(is_rough, ndtr(apart), ndtr(-apart))
    return sure


def _open_sentence(totals: _Totals, i: int) -> str:
    height = f" {totals.growth_height_m[i]:.1f} m high" if totals.growth[i] >= 1 else ""
    return f"{totals.cover_ratio[i]:.0%} tree cover, growth{height} met by {totals.growth_ratio[i]:.0%} of pulses"


def _band_sentence(totals: _Totals, i: int, visibility_bottom_m: float) -> str:
    view = totals.stopped_visibility[i] / max(totals.entered[i], 1)
    return (
        f"plant-area density {totals.density[i]:.2f} m2/m3, {totals.entered[i]:.0f} pulses entered the running layer, "
        f"{view:.0%} stopped above {visibility_bottom_m:g} m"
    )
