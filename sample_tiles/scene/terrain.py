"""The ground of a scene: valleys, spurs, terraces, cliffs, banks, gullies, knolls, pits, track benches, channels."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage as ndi
from scipy.spatial import cKDTree

from .fields import Field, Lattice, Metres, bilinear, distance_to_line, ramp, resampled, slope_of, smooth_noise

LEAST_CLIFF_M, LEAST_BANK_M = 1.0, 0.7
"""Where the step is lower than this, towards its ends, nobody would draw it."""


@dataclass
class Ground:
    """Bare earth and what was built into it; heights in metres."""

    lattice: Lattice
    height: Field
    streams: list[Metres] = field(default_factory=list)
    cliffs: list[tuple[Metres, float]] = field(default_factory=list)
    banks: list[tuple[Metres, float]] = field(default_factory=list)
    gullies: list[tuple[Metres, float]] = field(default_factory=list)
    knolls: list[tuple[float, float, float, float]] = field(default_factory=list)
    pits: list[tuple[float, float, float, float]] = field(default_factory=list)
    terraces: list[tuple[float, float, float]] = field(default_factory=list)
    to_stream: Field = field(default_factory=lambda: np.full((1, 1), np.inf, np.float32))
    """Distance to the nearest stream as far as 60 m."""
    taken: list[tuple[float, float, float]] = field(default_factory=list)
    """Circles (x, y, radius) that later features keep out of."""

    def free(self, x: float, y: float, radius: float) -> bool:
        """Whether a circle lies in the surveyed square and clear of what is there."""
        inside = radius < min(x, y) and max(x, y) < self.lattice.size_m - radius
        return inside and all(np.hypot(x - a, y - b) > radius + r for a, b, r in self.taken)

    def at(self, x: float, y: float) -> float:
        """Height at a place."""
        return float(bilinear(self.height, self.lattice, np.array([x]), np.array([y]))[0])


@dataclass(frozen=True)
class Course:
    """A stream before there is ground: where it runs and how high the valley floor is beside every place.

    The floor depends on how far a place lies along `heading` from `foot`, so it has no step anywhere.
    """

    line: Metres
    foot: Metres
    heading: Metres
    floor_m: float
    gradient: float
    steepening: float
    reach_m: tuple[float, float]
    """Where along `heading` the floor begins and ends to rise."""

    def floor(self, x: Field, y: Field) -> Field:
        """Height of the valley floor beside each place."""
        reach = (x - self.foot[0]) * self.heading[0] + (y - self.foot[1]) * self.heading[1]
        reach = np.clip(reach, *self.reach_m)
        return (self.floor_m + self.gradient * reach + self.steepening * reach**2).astype(np.float32)


def courses(rng: np.random.Generator, size_m: float) -> list[Course]:
    """Streams that cross the square, each with a side stream down either flank."""
    result = []
    count = max(1, round(size_m / 450))
    heading = rng.uniform(-0.35, 0.35) + rng.choice([0.0, np.pi / 2, np.pi, -np.pi / 2])
    along, across = np.array([np.cos(heading), np.sin(heading)]), np.array([-np.sin(heading), np.cos(heading)])
    for k in range(count):
        aside = (k + 0.5) / count - 0.5 + rng.uniform(-0.08, 0.08)
        middle = np.array([size_m, size_m]) / 2 + across * size_m * aside
        t = np.arange(-0.85 * size_m, 0.85 * size_m, 5.0)
        sway = 14 * np.sin(2 * np.pi * t / rng.uniform(150, 220) + rng.uniform(0, 6)) + 3 * np.sin(t / 9)
        line = middle + t[:, None] * along + sway[:, None] * across
        main = Course(line, middle, along, 8 * np.sin(k * 2.1), -rng.uniform(0.035, 0.055), 0.0, (-size_m, size_m))
        result.append(main)
        result += [_side_course(rng, main, across * side, size_m / count) for side in (-1, 1)]
    return result


def _side_course(rng: np.random.Generator, main: Course, away: Metres, room_m: float) -> Course:
    """A side stream that comes down one flank and joins the main one, its line running from its head."""
    join = main.line[int(len(main.line) * rng.uniform(0.36, 0.66))]
    reach = np.arange(0, rng.uniform(0.30, 0.40) * room_m, 4.0)
    bend = 6 * np.sin(reach / 25 + rng.uniform(0, 6)) * np.minimum(reach / 30, 1)
    line = join + reach[:, None] * (away * 0.9 - main.heading * 0.42) + bend[:, None] * main.heading
    at_join = float(main.floor(join[0], join[1]))
    return Course(line[::-1], join, away, at_join, 0.11, 0.0007, (0.0, 1.2 * float(reach[-1])))


def shape(lattice: Lattice, rng: np.random.Generator, streams: list[Course], relief_m: float) -> Field:
    """Hills between the streams: flanks that rise from each course, bent by noise into spurs and re-entrants."""
    lowest: Field = np.full((lattice.n, lattice.n), -np.inf, np.float32)
    nearest: Field = np.full((lattice.n, lattice.n), np.inf, np.float32)
    softness_m = 1.2
    for course in streams:
        distance = _distance(lattice, course.line)
        rise = relief_m * (1 - np.exp(-((distance / 85) ** 1.35)))
        lowest = np.logaddexp(lowest, -(course.floor(lattice.x, lattice.y) + rise) / softness_m)
        nearest = np.minimum(nearest, distance)
    ground = -softness_m * lowest
    away = 1 - np.exp(-nearest / 45)
    for wavelength_m, height_m in ((210, 9.0), (95, 3.6), (45, 1.1)):
        ground = ground + height_m * away * smooth_noise(lattice, rng, wavelength_m)
    return ndi.gaussian_filter(ground.astype(np.float32), 3.0 / lattice.cell_m)


def _distance(lattice: Lattice, line: Metres) -> Field:
    """Distance to a course, computed every 4 m and stretched over the lattice."""
    every = 8
    px, py = np.meshgrid(lattice.x[0, ::every], lattice.y[::every, 0])
    distance, _ = cKDTree(resampled(line, 2.0)).query(np.column_stack([px.ravel(), py.ravel()]))
    coarse = distance.reshape(px.shape).astype(np.float32)
    full: Field = ndi.zoom(coarse, every, order=1, grid_mode=True, mode="nearest")
    return full[: lattice.n, : lattice.n]


def add_terrace(ground: Ground, rng: np.random.Generator, radius_m: float) -> tuple[float, float, float]:
    """Level a patch of gentle ground to a plane of 2 % and return it as (x, y, radius)."""
    lattice = ground.lattice
    calm = ndi.gaussian_filter(slope_of(ground.height, lattice.cell_m)[::8, ::8], radius_m / 8)
    best, where = np.inf, (lattice.size_m / 2, lattice.size_m / 2)
    for x, y in rng.uniform(radius_m * 0.75, lattice.size_m - radius_m * 0.75, (400, 2)):
        if any(np.hypot(x - a, y - b) < radius_m * 0.9 + r for a, b, r in ground.taken):
            continue
        value = calm[int((y + lattice.margin_m) / 4), int((x + lattice.margin_m) / 4)]
        if value < best:
            best, where = value, (x, y)
    x, y = where
    d = np.hypot(lattice.x - x, lattice.y - y) * (1 + 0.16 * smooth_noise(lattice, rng, 40))
    tilt = rng.uniform(0, 2 * np.pi)
    plane = ground.at(x, y) + 0.02 * ((lattice.x - x) * np.cos(tilt) + (lattice.y - y) * np.sin(tilt))
    weight = (1 - ramp(d, radius_m * 0.75, radius_m * 1.3)) * ramp(ground.to_stream, 8, 28)
    ground.height = (ground.height * (1 - weight) + plane * weight).astype(np.float32)
    ground.terraces.append((x, y, radius_m))
    ground.taken.append((x, y, radius_m * 0.8))
    return x, y, radius_m


def add_cliffs(ground: Ground, rng: np.random.Generator, count: int) -> None:
    """Steps of bare rock across steep slopes, following the slope's own contours."""
    lattice = ground.lattice
    smooth = ndi.gaussian_filter(ground.height, 6 / lattice.cell_m)
    steep = slope_of(smooth, lattice.cell_m)
    tries = sorted(rng.uniform(25, lattice.size_m - 25, (600, 2)).tolist(), key=lambda p: -_lookup(steep, lattice, *p))
    for x, y in tries:
        if len(ground.cliffs) >= count:
            return
        if not ground.free(x, y, 20):
            continue
        line = _contour_walk(smooth, lattice, x, y, rng.uniform(9, 22))
        height_m = float(rng.uniform(1.8, 6.0) if len(ground.cliffs) else rng.uniform(4.5, 6.5))
        step_m = _raise_step(ground, line, height_m, width_m=0.45, decay_m=3.0 * height_m)
        ground.cliffs.append((line[step_m > LEAST_CLIFF_M], height_m))
        ground.taken += [(a, b, 6.0) for a, b in line[::4]]


def _lookup(field_: Field, lattice: Lattice, x: float, y: float) -> float:
    return float(field_.ravel()[lattice.index(np.array([x]), np.array([y]))[0]])


def _contour_walk(smooth: Field, lattice: Lattice, x: float, y: float, half_m: float) -> Metres:
    """A line of 2 * half_m through a place, along the contour, with the higher ground on its left."""
    down, across = np.gradient(smooth, lattice.cell_m)
    halves = []
    for sense in (-1, 1):
        px, py, path = x, y, []
        for _ in range(int(half_m)):
            gx, gy = _lookup(across, lattice, px, py), _lookup(down, lattice, px, py)
            norm = float(np.hypot(gx, gy)) + 1e-9
            px, py = px + sense * gy / norm, py - sense * gx / norm
            path.append((px, py))
        halves.append(path)
    return np.array(halves[0][::-1] + [(x, y)] + halves[1])


def _raise_step(ground: Ground, line: Metres, height_m: float, width_m: float, decay_m: float) -> Metres:
    """Lift the ground left of a line, tapering to its ends and dying away behind; returns the step at each vertex."""
    distance, along = distance_to_line(ground.lattice, line, decay_m * 3)
    length = float(np.hypot(*np.diff(line, axis=0).T).sum())
    taper = ramp(np.minimum(along, length - along), 0, 0.42 * length)
    lift = ramp(distance, -width_m / 2, width_m / 2) * np.exp(-np.maximum(distance, 0) / decay_m)
    near = np.isfinite(distance)
    ground.height = (ground.height + np.where(near, height_m * taper * np.where(near, lift, 0), 0)).astype(np.float32)
    s = np.linspace(0, length, len(line))
    return height_m * ramp(np.minimum(s, length - s), 0, 0.42 * length)


def add_banks(ground: Ground, rng: np.random.Generator, count: int) -> None:
    """Earth banks: the same step, lower and at the slope loose earth stands at."""
    lattice = ground.lattice
    smooth = ndi.gaussian_filter(ground.height, 6 / lattice.cell_m)
    for x, y in rng.uniform(30, lattice.size_m - 30, (400, 2)):
        if len(ground.banks) >= count:
            return
        if not (6 < _lookup(slope_of(smooth, lattice.cell_m), lattice, x, y) < 18 and ground.free(x, y, 14)):
            continue
        line = _contour_walk(smooth, lattice, x, y, rng.uniform(14, 24))
        height_m = float(rng.uniform(1.2, 2.4))
        step_m = _raise_step(ground, line, height_m, width_m=height_m * 1.5, decay_m=12)
        ground.banks.append((line[step_m > LEAST_BANK_M], height_m))
        ground.taken += [(a, b, 5.0) for a, b in line[::4]]


def add_gullies(ground: Ground, rng: np.random.Generator, count: int) -> None:
    """Dry V-shaped gullies straight down a slope."""
    lattice = ground.lattice
    smooth = ndi.gaussian_filter(ground.height, 8 / lattice.cell_m)
    down, across = np.gradient(smooth, lattice.cell_m)
    for x, y in rng.uniform(30, lattice.size_m - 30, (400, 2)):
        if len(ground.gullies) >= count:
            return
        gradient = np.hypot(_lookup(across, lattice, x, y), _lookup(down, lattice, x, y))
        if not (0.2 < gradient < 0.5 and ground.free(x, y, 15)):
            continue
        path = [(x, y)]
        for _ in range(int(rng.uniform(35, 60))):
            gx, gy = _lookup(across, lattice, *path[-1]), _lookup(down, lattice, *path[-1])
            norm = float(np.hypot(gx, gy)) + 1e-9
            if _lookup(ground.to_stream, lattice, *path[-1]) < 4:
                break
            path.append((path[-1][0] - gx / norm, path[-1][1] - gy / norm))
        _cut(ground, np.array(path), depth_m=(depth_m := float(rng.uniform(1.3, 2.4))), half_m=depth_m * 1.25)
        ground.gullies.append((np.array(path), depth_m))
        ground.taken += [(a, b, 5.0) for a, b in path[::5]]


def _cut(ground: Ground, line: Metres, depth_m: float, half_m: float) -> None:
    """Cut a V along a line, shallow at its head."""
    distance, along = distance_to_line(ground.lattice, line, half_m + 1)
    near = np.isfinite(distance)
    depth = depth_m * np.clip(along / 12, 0, 1) * np.clip(1 - np.where(near, np.abs(distance), 99) / half_m, 0, 1)
    ground.height = (ground.height - depth).astype(np.float32)


def add_knolls_and_pits(ground: Ground, rng: np.random.Generator, knolls: int, pits: int) -> None:
    """Small hills and hollows on ground gentle enough for them to close."""
    lattice = ground.lattice
    gentle = slope_of(ndi.gaussian_filter(ground.height, 6 / lattice.cell_m), lattice.cell_m)
    for x, y in rng.uniform(12, lattice.size_m - 12, (3000, 2)):
        is_knoll = len(ground.knolls) < knolls
        if not is_knoll and len(ground.pits) >= pits:
            return
        radius = float(rng.uniform(4, 9) if is_knoll else rng.uniform(2.2, 4.5))
        steepest_deg = 13 if is_knoll else 16
        if _lookup(gentle, lattice, x, y) > steepest_deg or not ground.free(x, y, radius + 3):
            continue
        size = float(rng.uniform(0.25, 0.42) * radius if is_knoll else rng.uniform(0.32, 0.48) * radius)
        size = max(size, 1.0)
        _bump(ground, rng, x, y, radius, size if is_knoll else -size)
        (ground.knolls if is_knoll else ground.pits).append((x, y, size, radius))
        ground.taken.append((x, y, radius + 2))


def _bump(ground: Ground, rng: np.random.Generator, x: float, y: float, radius_m: float, height_m: float) -> None:
    """Add a rounded, slightly oblong bump; negative heights dig."""
    rows, cols = ground.lattice.window(x, y, radius_m * 2)
    turn, stretch = rng.uniform(0, np.pi), rng.uniform(0.85, 1.18)
    px, py = ground.lattice.x[:, cols] - x, ground.lattice.y[rows] - y
    a, b = px * np.cos(turn) + py * np.sin(turn), -px * np.sin(turn) + py * np.cos(turn)
    d = np.hypot(a * stretch, b / stretch) / radius_m
    ground.height[rows, cols] += height_m * np.exp(-((d / 0.62) ** 2.6))


def add_bench(ground: Ground, line: Metres, width_m: float) -> None:
    """Level the ground across a track and give it an even grade along, with cut and fill at its sides."""
    lattice = ground.lattice
    distance, along = distance_to_line(lattice, line, width_m / 2 + 4)
    fine = resampled(line, 1.0)
    grade = bilinear(ndi.gaussian_filter(ground.height, 4 / lattice.cell_m), lattice, fine[:, 0], fine[:, 1])
    grade = ndi.gaussian_filter1d(grade, 8)
    near = np.isfinite(distance)
    step = float(np.hypot(*np.diff(fine, axis=0).T).sum()) / (len(fine) - 1)
    level = np.interp(along, np.arange(len(fine)) * step, grade)
    weight = np.where(near, 1 - ramp(np.abs(np.where(near, distance, 99)), width_m / 2, width_m / 2 + 2.2), 0)
    ground.height = (ground.height * (1 - weight) + level * weight).astype(np.float32)


def add_hollow_way(ground: Ground, line: Metres, width_m: float, depth_m: float) -> None:
    """Wear a footpath into the ground."""
    distance, _ = distance_to_line(ground.lattice, line, width_m * 2)
    d = np.where(np.isfinite(distance), np.abs(distance), 99)
    ground.height = (ground.height - depth_m * np.exp(-((d / (0.6 * width_m)) ** 2))).astype(np.float32)


def add_channels(ground: Ground, lines: list[Metres]) -> None:
    """Cut each stream's bed about 0.8 m below its banks, 1.5 m wide at the bottom, and never uphill."""
    lattice = ground.lattice
    for line in lines:
        distance, along = distance_to_line(lattice, line, 32)
        d = np.where(np.isfinite(distance), np.abs(distance), 99)
        fine = resampled(line, 1.0)
        s = np.linspace(0, float(np.hypot(*np.diff(line, axis=0).T).sum()), len(fine))
        floor = np.minimum.accumulate(bilinear(ground.height, lattice, fine[:, 0], fine[:, 1]))
        # Where the land rises across the stream's way, it has cut itself a notch with sides of 33 degrees.
        notch = np.interp(along, s, floor) + 0.65 * np.maximum(d - 2, 0)
        lowered = np.where(d < 32, np.minimum(ground.height, notch), ground.height)
        depth_m = 0.8 * np.clip(along / 15, 0, 1)
        ground.height = (lowered - depth_m * (1 - ramp(d, 0.5, 2.2))).astype(np.float32)
        ground.streams.append(line)


def add_pond(ground: Ground, rng: np.random.Generator, x: float, y: float, radius_m: float) -> Field:
    """Sink a pond into a terrace; returns the water as a 0/1 field, level over its whole extent."""
    lattice = ground.lattice
    d = np.hypot(lattice.x - x, lattice.y - y) / radius_m * (1 + 0.14 * smooth_noise(lattice, rng, 22))
    level = ground.at(x, y) - 1.1
    bank = level + 1.3 * ramp(d, 0.97, 1.45)
    lowered = np.where(d < 1.45, np.minimum(ground.height, bank), ground.height)
    water = (d < 1.0).astype(np.float32)
    ground.height = np.where(water > 0, level, np.maximum(lowered, np.where(d < 1.5, level + 0.05, -1e9))).astype(
        np.float32
    )
    return water


def add_micro_relief(ground: Ground, rng: np.random.Generator) -> None:
    """Hummocks and roughness: 0.25 m at 14 m, 6 cm at 4 m, 3 cm at 1.6 m."""
    for wavelength_m, height_m in ((14, 0.22), (4, 0.06), (1.6, 0.03)):
        ground.height += height_m * smooth_noise(ground.lattice, rng, wavelength_m) * ramp(ground.to_stream, 1.5, 8)
