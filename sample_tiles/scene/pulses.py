"""The survey flight: pulses sent down through the place, and the returns each of them brings back.

A beam descends in steps of half a metre. On its way through plants its mean energy falls as exp(-G k s), the law of
Beer and Lambert (Monsi & Saeki 1953), where G is the mean projection of leaves (0.5, spherical orientation), k the
plant-area density and s the path. It does so in bites: in a step it meets a plant part with the probability that gives
this mean, and loses a random share of its energy to it. A return is recorded where enough energy comes back and the one
before is far enough away; what is left at the end meets a stem or the ground.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage as ndi

from .fields import Field, Metres, bilinear
from .place import Place
from .plants import LAYER_M, LAYERS, UNIT, canopy_top

STEP_M = 0.5
PROJECTION = 0.5
SLANT = 1.02
"""Path a slanting beam makes in a metre of height, on average over the swath."""
SHARE = (0.15, 0.85)
"""Least and greatest share of the beam that one plant part covers."""
FAINTEST = 0.07
"""Least share of the beam's energy that makes a return."""
APART_M = 0.6
"""Least distance between returns of one pulse: what a discrete-return receiver tells apart (from memory)."""
RANGE_NOISE_M = 0.02
ALTITUDE_M = 700.0
HALF_SWATH_M = 225.0
SPEED_M_S = 60.0
SWARD_M = 0.1
"""Lower grass and litter are ground: nobody maps them, and no filter can tell them from it."""
START_S = 463_000_000.0
"""Adjusted standard GPS time of the first pulse: 16 May 2026, trees in leaf."""
GROUND, GRASS, UNDERGROWTH, CROWN, LOW_NOISE, WATER, WIRE, HIGH_NOISE = 2, 3, 4, 5, 7, 9, 14, 18


@dataclass
class Returns:
    """Returns of part of the survey, one array a column."""

    x: Metres
    y: Metres
    z: Metres
    intensity: NDArray[np.uint16]
    return_number: NDArray[np.uint8]
    n_returns: NDArray[np.uint8]
    gps_time: Metres
    flight_line: NDArray[np.uint16]
    scan_angle: NDArray[np.int16]
    """In steps of 0.006 degrees, as LAS 1.4 stores it."""
    source: NDArray[np.uint8]


@dataclass
class Beams:
    """Pulses: where they are aimed on the plane `level_m`, and how far they drift for each metre they come down."""

    x: Metres
    y: Metres
    drift_x: Metres
    drift_y: Metres
    gps_time: Metres
    flight_line: int

    def take(self, which: NDArray[np.bool_]) -> Beams:
        """The chosen pulses."""
        parts = (self.x, self.y, self.drift_x, self.drift_y, self.gps_time)
        return Beams(*(part[which] for part in parts), self.flight_line)


class Target:
    """The place as a beam meets it: lookup tables made once."""

    def __init__(self, place: Place) -> None:
        lattice = place.lattice
        self.place, self.lattice = place, lattice
        self.earth = place.ground.height.ravel()
        self.level_m = float(np.median(self.earth))
        self.solid: Field = place.solids.height + ndi.zoom(
            place.ground.height, 2, order=1, grid_mode=True, mode="nearest"
        )
        coarse = self.solid.reshape(lattice.n, 2, lattice.n, 2).max(axis=(1, 3))
        self.highest_solid = (ndi.maximum_filter(coarse, 3) + 0.02).ravel()
        canopy = np.maximum(canopy_top(place.plants.volume, lattice.n), 2.5 * (place.plants.clumped > 0))
        top = np.maximum(place.ground.height + canopy, coarse)
        for places, heights in place.solids.wires:
            cell = lattice.index(places[:, 0], places[:, 1])
            top.ravel()[cell] = np.maximum(top.ravel()[cell], heights + 1)
        blocks = (
            top[: lattice.n // 8 * 8, : lattice.n // 8 * 8]
            .reshape(lattice.n // 8, 8, lattice.n // 8, 8)
            .max(axis=(1, 3))
        )
        # One step of spare height: the first step begins anywhere within it.
        self.start_m = ndi.maximum_filter(blocks, 9).astype(np.float32) + STEP_M
        density = np.arange(256) / UNIT
        self.chance = self._chance(density).astype(np.float32)
        self.low_chance = self._chance(place.plants.clumped).astype(np.float32).ravel()

    @staticmethod
    def _chance(density: NDArray[np.floating]) -> NDArray[np.floating]:
        lost = 1 - np.exp(-PROJECTION * density * STEP_M * SLANT)
        return np.minimum(lost / (sum(SHARE) / 2), 1)


def fly(place: Place, *, seed: int, pulses_per_m2: float) -> Iterator[Returns]:
    """Survey the place, yielding returns in the order they were flown, cut to the surveyed square."""
    target = Target(place)
    size = place.lattice.size_m
    heading = 0.16
    lines = int(np.ceil((size * 1.3 + 60) / HALF_SWATH_M)) + 1
    for k in range(lines):
        offset_m = (k - (lines - 1) / 2) * HALF_SWATH_M
        for part, beams in enumerate(_beams(target, offset_m, heading, k, pulses_per_m2 / 2, seed)):
            rng = np.random.default_rng([seed, k, part])
            yield _survey(target, beams, rng, bias_m=0.012 * np.sin(2.3 * k))


def _beams(target: Target, offset_m: float, heading: float, k: int, per_m2: float, seed: int) -> Iterator[Beams]:
    """Pulses of one flight line in parts of about 300 000."""
    size = target.lattice.size_m
    gap_m = 1 / np.sqrt(per_m2)
    across = np.array([np.cos(heading), -np.sin(heading)])
    along = np.array([np.sin(heading), np.cos(heading)]) * (1 if k % 2 == 0 else -1)
    swing = np.arange(-HALF_SWATH_M, HALF_SWATH_M, gap_m)
    rows = int((size * 1.5 + 60) / gap_m)
    tick_s = np.floor(gap_m / SPEED_M_S / len(swing) * 1e6) * 1e-6
    per_part = max(1, 300_000 // len(swing))
    for first in range(0, rows, per_part):
        rng = np.random.default_rng([seed, k, first, 1])
        i = np.arange(first, min(first + per_part, rows))
        u = offset_m + swing[None, :] + rng.normal(0, 0.12 * gap_m, (len(i), len(swing)))
        v = (
            ((i - rows / 2) * gap_m)[:, None]
            + (swing / HALF_SWATH_M * gap_m * 0.4)[None, :]
            + rng.normal(0, 0.12 * gap_m, u.shape)
        )
        x = size / 2 + u * across[0] + v * along[0]
        y = size / 2 + u * across[1] + v * along[1]
        tangent = (u - offset_m) / ALTITUDE_M
        number = i[:, None] * len(swing) + np.arange(len(swing))[None, :]
        time = START_S + 420.0 * k + number * tick_s
        drift = (tangent * across[0] + 0.01 * along[0], tangent * across[1] + 0.01 * along[1])
        near = (x > -14) & (x < size + 14) & (y > -14) & (y < size + 14)
        beams = Beams(x.ravel(), y.ravel(), drift[0].ravel(), drift[1].ravel(), time.ravel(), k).take(near.ravel())
        if len(beams.x):
            yield beams


class _Log:
    """Returns as they happen: pulse, height, energy and source."""

    def __init__(self, n: int) -> None:
        self.parts: list[tuple[NDArray[np.int64], Metres, Metres, NDArray[np.uint8]]] = []
        self.last_m = np.full(n, np.inf)
        self.energy = np.ones(n)

    def add(self, pulse: NDArray[np.int64], z: Metres, share: Metres, source: NDArray[np.uint8] | int) -> None:
        """Record what is bright enough and far enough from the return before; take its energy in any case."""
        energy = self.energy[pulse] * share
        self.energy[pulse] -= energy
        seen = (energy >= FAINTEST) & (self.last_m[pulse] - z >= APART_M)
        pulse, z, energy = pulse[seen], z[seen], energy[seen]
        self.last_m[pulse] = z
        kind = np.full(len(pulse), source, np.uint8) if isinstance(source, int) else source[seen]
        self.parts.append((pulse, z, energy, kind))


def _survey(target: Target, beams: Beams, rng: np.random.Generator, bias_m: float) -> Returns:
    log = _Log(len(beams.x))
    _meet_wires(target, beams, log)
    _descend(target, beams, rng, log)
    return _as_returns(target, beams, rng, log, bias_m)


def _where(target: Target, beams: Beams, pulse: NDArray[np.int64], z: Metres) -> tuple[Metres, Metres]:
    fall = target.level_m - z
    return beams.x[pulse] + beams.drift_x[pulse] * fall, beams.y[pulse] + beams.drift_y[pulse] * fall


def _descend(target: Target, beams: Beams, rng: np.random.Generator, log: _Log) -> None:
    """Bring every pulse down through the crowns and the undergrowth until something solid stops it."""
    lattice = target.lattice
    block = 8 * lattice.cell_m
    row, col = (
        np.clip(((v + lattice.margin_m) / block).astype(int), 0, len(target.start_m) - 1) for v in (beams.y, beams.x)
    )
    z = target.start_m[row, col] - rng.random(len(beams.x)) * STEP_M
    pulse = np.arange(len(beams.x))
    while len(pulse):
        at = z - rng.random(len(z)) * STEP_M
        x, y = _where(target, beams, pulse, at)
        cell = lattice.index(x, y)
        height = at - target.earth[cell]
        _meet_plants(target, rng, log, pulse, at, height, cell)
        stopped = _meet_stems(target, log, pulse, at, height, x, y, cell)
        low = np.flatnonzero((z - STEP_M < target.highest_solid[cell] + 0.3) & ~stopped)
        stopped[low[_meet_solid(target, beams, rng, log, pulse[low], z[low])]] = True
        going = ~stopped & (log.energy[pulse] >= FAINTEST)
        pulse, z = pulse[going], z[going] - STEP_M


def _meet_plants(
    target: Target,
    rng: np.random.Generator,
    log: _Log,
    pulse: NDArray[np.int64],
    z: Metres,
    height: Metres,
    cell: NDArray[np.int64],
) -> None:
    layer = np.clip(height / LAYER_M, 0, LAYERS - 1).astype(np.int64)
    filled = target.place.plants.volume[cell, layer]
    is_low = (height > 0.3) & (height < 2.5)
    low = np.where(is_low, target.low_chance[cell], 0)
    chance = 1 - (1 - target.chance[filled]) * (1 - low)
    met = (rng.random(len(pulse)) < chance) & (height > 0.05) & (height < LAYERS * LAYER_M)
    source = np.where(height[met] < 2.5, UNDERGROWTH, CROWN).astype(np.uint8)
    log.add(pulse[met], z[met], rng.uniform(*SHARE, int(met.sum())), source)


def _meet_stems(
    target: Target,
    log: _Log,
    pulse: NDArray[np.int64],
    z: Metres,
    height: Metres,
    x: Metres,
    y: Metres,
    cell: NDArray[np.int64],
) -> NDArray[np.bool_]:
    stem = target.place.plants.stem_of[cell]
    stopped = np.zeros(len(pulse), np.bool_)
    near = np.flatnonzero(stem >= 0)
    sx, sy, radius, top = target.place.plants.stems[stem[near]].T
    hit = (np.hypot(x[near] - sx, y[near] - sy) < radius + 0.03) & (height[near] < top) & (height[near] > 0)
    near = near[hit]
    stopped[near] = True
    log.add(
        pulse[near], z[near], np.full(len(near), 0.9), np.where(height[near] < 2.5, UNDERGROWTH, CROWN).astype(np.uint8)
    )
    return stopped


def _meet_solid(
    target: Target, beams: Beams, rng: np.random.Generator, log: _Log, pulse: NDArray[np.int64], z: Metres
) -> NDArray[np.int64]:
    """Which of the pulses meet ground, rock, roof or water in this step; their returns are recorded."""
    fine = target.place.solids.fine
    hit_z = np.full(len(pulse), np.nan)
    above = np.full(len(pulse), np.nan)
    for k in range(6):
        level = z - STEP_M * k / 5
        x, y = _where(target, beams, pulse, level)
        clear = level - bilinear(target.solid, fine, x, y)
        crossed = np.isnan(hit_z) & (clear <= 0)
        share = np.where(np.isfinite(above) & (above > 0), above / np.maximum(above - clear, 1e-9), 1.0)
        hit_z = np.where(crossed, level + (1 - share) * STEP_M / 5, hit_z)
        above = clear
    hits = np.flatnonzero(np.isfinite(hit_z))
    _record_hits(target, beams, rng, log, pulse[hits], hit_z[hits])
    return hits


def _record_hits(
    target: Target, beams: Beams, rng: np.random.Generator, log: _Log, pulse: NDArray[np.int64], z: Metres
) -> None:
    place, lattice = target.place, target.lattice
    x, y = _where(target, beams, pulse, z)
    cell, fine_cell = lattice.index(x, y), place.solids.fine.index(x, y)
    is_hard = place.solids.height.ravel()[fine_cell] > 0.1
    source = np.where(is_hard, place.solids.kind.ravel()[fine_cell], GROUND).astype(np.uint8)
    in_grass = ~is_hard & (rng.random(len(z)) < place.plants.grass_share.ravel()[cell])
    sward_m = np.where(in_grass, place.plants.grass_m.ravel()[cell] * rng.uniform(0.25, 1.0, len(z)), 0)
    z = z + sward_m
    source[sward_m > SWARD_M] = GRASS
    is_water = place.pond.ravel()[cell] > 0
    source[is_water] = WATER
    tangent = np.hypot(beams.drift_x[pulse], beams.drift_y[pulse])
    swallowed = np.where(is_water, np.where(tangent < 0.05, 0.5, 0.93), place.wet.ravel()[cell])
    seen = rng.random(len(z)) >= swallowed
    log.add(pulse[seen], z[seen], np.ones(int(seen.sum())), source[seen])


def _meet_wires(target: Target, beams: Beams, log: _Log) -> None:
    """Pulses that graze a wire leave a faint return there."""
    for places, heights in target.place.solids.wires:
        for k in range(len(places) - 1):
            (x0, y0), (x1, y1), z = places[k], places[k + 1], (heights[k] + heights[k + 1]) / 2
            length = float(np.hypot(x1 - x0, y1 - y0))
            box = (np.abs(beams.x - (x0 + x1) / 2) < length / 2 + 16) & (
                np.abs(beams.y - (y0 + y1) / 2) < length / 2 + 16
            )
            pulse = np.flatnonzero(box)
            if length < 1e-6 or not len(pulse):
                continue
            x, y = _where(target, beams, pulse, np.full(len(pulse), z))
            ux, uy = (x1 - x0) / length, (y1 - y0) / length
            t, d = (x - x0) * ux + (y - y0) * uy, np.abs((y - y0) * ux - (x - x0) * uy)
            met = (t >= 0) & (t < length) & (d < 0.1)
            height = heights[k] + (heights[k + 1] - heights[k]) * np.clip(t[met] / length, 0, 1)
            log.add(pulse[met], height, np.full(int(met.sum()), 0.15), WIRE)


def _as_returns(target: Target, beams: Beams, rng: np.random.Generator, log: _Log, bias_m: float) -> Returns:
    pulse, z, energy, source = (np.concatenate(column) for column in zip(*log.parts, strict=True))
    z, source = _with_noise(rng, pulse, z, source)
    order = np.lexsort((-z, pulse))
    pulse, z, energy, source = pulse[order], z[order], energy[order], source[order]
    _, first, count = np.unique(pulse, return_index=True, return_counts=True)
    n_returns = np.repeat(count, count)
    number = np.arange(len(pulse)) - np.repeat(first, count) + 1
    x, y = _where(target, beams, pulse, z)
    cell = target.lattice.index(x, y)
    shine = np.select(
        [source == GROUND, source == WATER, source == 6], [target.place.brightness.ravel()[cell], 0.06, 0.28], 0.42
    )
    intensity = np.clip(energy * shine * 180 * np.exp(rng.normal(0, 0.12, len(z))), 1, 255).astype(np.uint16) * 16
    z = z + bias_m + rng.normal(0, RANGE_NOISE_M, len(z))
    size = target.lattice.size_m
    keep = (x >= 0) & (x < size) & (y >= 0) & (y < size)
    tangent = np.hypot(beams.drift_x, beams.drift_y) * np.where(beams.drift_x >= 0, 1, -1)
    angle = np.round(np.degrees(np.arctan(tangent)) / 0.006 / 50).astype(np.int16) * 50
    columns = (x, y, z, intensity, number.astype(np.uint8), n_returns.astype(np.uint8), beams.gps_time[pulse])
    line = np.full(len(x), 101 + beams.flight_line, np.uint16)
    return Returns(*(column[keep] for column in (*columns, line, angle[pulse], source)))


def _with_noise(
    rng: np.random.Generator, pulse: NDArray[np.int64], z: Metres, source: NDArray[np.uint8]
) -> tuple[Metres, NDArray[np.uint8]]:
    """Turn a few single returns into birds and haze above, or echoes from below the ground."""
    _, inverse, count = np.unique(pulse, return_inverse=True, return_counts=True)
    single = np.flatnonzero((count[inverse] == 1) & (source == GROUND))
    chosen = rng.choice(single, min(len(single), max(1, len(z) // 60_000)), replace=False) if len(single) else single
    is_high = rng.random(len(chosen)) < 0.5
    z, source = z.copy(), source.copy()
    z[chosen] += np.where(is_high, rng.uniform(35, 90, len(chosen)), -rng.uniform(1.5, 7, len(chosen)))
    source[chosen] = np.where(is_high, HIGH_NOISE, LOW_NOISE)
    return z, source
