"""Bumps and hollows a few metres across: what stands out from ground that is itself sloping and curved.

A knoll on a slope has no closed contour and no summit of its own, so heights are compared with the ground around: in a
round window a polynomial of the fourth degree is fitted together with one rounded bump in the middle. The polynomial
takes what slope, spur and re-entrant explain; the bump is what they cannot. How well bump and polynomial together
match the window tells a knoll from the lip of a cliff, and how the bump compares with what the same fit gives all
around tells it from ground that is restless everywhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from pipeline.landform.shapes.surroundings import LEAST_UNEVENNESS_M, usual_size
from pipeline.lattice.fill import fill_voids
from pipeline.lattice.filters.box import square_mean
from pipeline.lattice.filters.weights import weighted_sums
from pipeline.lattice.grid import EastNorth, Grid, Heights, Mask
from pipeline.lattice.larger_cells import coarsen
from pipeline.lattice.windows import is_highest

BELL_SHARE = 0.55
"""Distance from the middle of a rounded bump, as a share of its radius, at which its height has fallen to 1/e; hardly
4 % is left at its foot (our choice of shape)."""


@dataclass(frozen=True)
class Bumps:
    """Bumps (or hollows) found, one array a column.

    Attributes
    ----------
    places : (n, 2) float64, metres
        The middle.
    height_m : (n,) float64
        Height above, or depth below, the ground around; never negative.
    radius_m : (n,) float64
        Distance from the middle to the foot.
    likeness : (n,) float64, 0..1
        Share of what the curved ground around leaves open that one rounded bump explains.
    contrast : (n,) float64
        Height over the usual height of such a fit round about; 1 is what restless ground gives everywhere.
    elongation : (n,) float64
        Length over width, 1 for a round one.
    angle_deg : (n,) float64
        Direction of the long axis, clockwise from grid north, 0..180.
    """

    places: EastNorth
    height_m: NDArray[np.float64]
    radius_m: NDArray[np.float64]
    likeness: NDArray[np.float64]
    contrast: NDArray[np.float64]
    elongation: NDArray[np.float64]
    angle_deg: NDArray[np.float64]

    @property
    def side_slope_deg(self) -> NDArray[np.float64]:
        """(n,) steepest part of the sides, had the ground around been level."""
        steepest = np.sqrt(2 / np.e) / BELL_SHARE * self.height_m / self.radius_m
        return np.asarray(np.degrees(np.arctan(steepest)))

    def where(self, chosen: NDArray[np.bool_] | NDArray[np.int64], /) -> Bumps:
        """The chosen ones, by mask or by number."""
        return Bumps(**{field.name: getattr(self, field.name)[chosen] for field in fields(self)})


POLYNOMIAL_DEGREE = 4
"""Degree of the polynomial that stands for the ground around. Of the fits tried on ground of known spectrum this one
told bumps apart best: polynomials of higher degree also follow the bump, those of lower degree do not follow the
slope."""
WINDOW_RADII = 2.0
"""Radius of the window of a fit, in radii of the bump; chosen together with the degree."""


@dataclass(frozen=True)
class _Window:
    """The fit of polynomial and bump in a round window of one size, as arrays over its cells."""

    inside: NDArray[np.bool_]
    east_m: NDArray[np.float64]
    north_m: NDArray[np.float64]
    weight: NDArray[np.float64]
    basis: NDArray[np.float64]
    bump: NDArray[np.float64]
    shifts: NDArray[np.float64]
    radius_m: float

    @classmethod
    def of(cls, radius_m: float, cell_m: float) -> _Window:
        reach = int(np.ceil(WINDOW_RADII * radius_m / cell_m))
        south, east = np.mgrid[-reach : reach + 1, -reach : reach + 1] * cell_m
        away_sq = (south**2 + east**2) / (WINDOW_RADII * radius_m) ** 2
        inside = away_sq <= 1
        x, y = east[inside], -south[inside]
        # Cells near the rim count less, so that the answer does not jump as the window moves on.
        weight = np.sqrt(np.clip(1 - away_sq[inside], 0.02, 1))
        degrees = [(i, j) for i in range(POLYNOMIAL_DEGREE + 1) for j in range(POLYNOMIAL_DEGREE + 1 - i)]
        powers = np.stack([(x / radius_m) ** i * (y / radius_m) ** j for i, j in degrees], axis=1)
        basis, _ = np.linalg.qr(powers * weight[:, None])
        bell = np.exp(-(x**2 + y**2) / (BELL_SHARE * radius_m) ** 2)
        # How the bell changes when its middle moves by a metre east or north.
        moved = [bell * 2 * along / (BELL_SHARE * radius_m) ** 2 for along in (x, y)]
        shapes = weight[:, None] * np.column_stack([bell, *moved])
        shapes -= basis @ (basis.T @ shapes)
        return cls(inside, x, y, weight, basis, shapes[:, 0], shapes[:, 1:], radius_m)

    def bells_at(self, shift_m: EastNorth, /) -> NDArray[np.float64]:
        """(n, cells) bells of height 1 with their middle moved by so many metres east and north."""
        away_sq = (self.east_m - shift_m[:, :1]) ** 2 + (self.north_m - shift_m[:, 1:]) ** 2
        return np.asarray(np.exp(-away_sq / (BELL_SHARE * self.radius_m) ** 2))

    @property
    def kernel(self) -> NDArray[np.float64]:
        """Weights that give the height of the bump when summed with the heights of the window."""
        kernel = np.zeros(self.inside.shape)
        kernel[self.inside] = self.bump * self.weight / (self.bump @ self.bump)
        return kernel


MIN_RADIUS_CELLS = 2
"""Radius of the smallest bump looked for, in cells of the bare earth: fewer cells show no shape (our choice)."""


def find_bumps(
    bare_earth: Heights,
    grid: Grid,
    /,
    *,
    upward: bool,
    radii_m: Sequence[float],
    min_height_m: float,
    min_contrast: float,
    min_likeness: float,
) -> Bumps:
    """Bumps (or, not `upward`, hollows) with a radius near one of `radii_m`.

    Sizes below two cells are not looked for. One place may have several, of different sizes; `best_of_each_place` keeps
    one.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres
    radii_m
        Sizes to try, from the middle to the foot.
    min_height_m, min_contrast, min_likeness : float
        Least values of these columns of a bump.

    Returns
    -------
    Bumps, the smallest first.

    Source
    ------
    Local least squares with a matched shape; own combination, no source. The convolution form is that of Savitzky and
    Golay (1964), doi:10.1021/ac60214a047, in two dimensions.
    """
    if not np.isfinite(bare_earth).any():
        return _no_bumps()
    found = [
        _bumps_of_size(
            bare_earth if upward else -bare_earth,
            grid,
            radius_m=radius_m,
            min_height_m=min_height_m,
            min_contrast=min_contrast,
            min_likeness=min_likeness,
        )
        for radius_m in radii_m
        if radius_m >= MIN_RADIUS_CELLS * grid.cell_m
    ]
    if not found:
        return _no_bumps()
    return Bumps(**{f.name: np.concatenate([getattr(part, f.name) for part in found]) for f in fields(Bumps)})


def _no_bumps() -> Bumps:
    return Bumps(np.empty((0, 2)), *(np.empty(0) for _ in range(6)))


CELLS_PER_RADIUS = 4
"""Cells into which the radius of a bump is divided for its fit; more cells take longer (our choice)."""
MAX_UNKNOWN_SHARE = 0.25
"""Share of the window around a bump that may be unknown: with more, its foot would be a guess (our choice)."""


def _bumps_of_size(
    heights: Heights,
    grid: Grid,
    /,
    *,
    radius_m: float,
    min_height_m: float,
    min_contrast: float,
    min_likeness: float,
) -> Bumps:
    """Bumps of one radius."""
    coarse, cells = coarsen(heights, grid, cell_m=radius_m / CELLS_PER_RADIUS)
    filled, unknown = fill_voids(coarse)
    level = filled.astype(np.float64) - filled.mean(dtype=np.float64)
    window = _Window.of(radius_m, cells.cell_m)
    reach = window.inside.shape[0] // 2
    padded = _extend(level, reach)
    # The convolution errs by less than a micrometre, differently for each size of grid; rounded away, so that a place
    # comes out the same whatever else is looked at.
    height = np.round(weighted_sums(padded, window.kernel), 6)
    usual = _usual_height(height, cells, known=~unknown)
    contrast = height / np.maximum(usual, LEAST_UNEVENNESS_M)
    apart = int(np.ceil(radius_m / 2 / cells.cell_m))
    outside = square_mean(unknown.astype(np.float32), len(window.inside), rim="constant", beyond=1.0)
    high = (height >= min_height_m) & (contrast >= min_contrast) & (outside <= MAX_UNKNOWN_SHARE) & ~unknown
    row, col = np.nonzero(high)
    is_peak = is_highest(height, row, col, apart)
    row, col = row[is_peak], col[is_peak]
    fit = _fit(_patches(padded, row, col, window), window, cell_m=cells.cell_m)
    east, north = cells.centres()
    bumps = Bumps(
        np.column_stack([east[col], north[row]]) + fit.shift_m,
        fit.height_m,
        np.full(len(row), radius_m),
        fit.likeness,
        contrast[row, col],
        fit.elongation,
        fit.angle_deg,
    )
    return bumps.where(fit.likeness >= min_likeness)


MOST_DEVIATIONS = 2.5
"""How many times the usual height of its square a fitted height counts at most where the usual is taken, so that the
knolls sought do not raise it (fitted on invented scenes; 3 draws one knoll fewer in one of six)."""
MEDIAN_STEP_M = 2.0
"""Spacing of the places from which the median of fitted heights is taken, in metres; nearer ones are much alike (our
choice)."""


def _usual_height(height: NDArray[np.float64], grid: Grid, /, *, known: Mask) -> NDArray[np.float64]:
    """Standard deviation of the fitted heights round about, little moved by the few that stand out."""
    # 1.4826 turns the median of absolute values into a standard deviation, sqrt(pi / 2) their mean (normal law).
    every = max(1, int(MEDIAN_STEP_M / grid.cell_m))
    return np.asarray(
        np.sqrt(np.pi / 2) * usual_size(np.abs(height), known, grid, most=MOST_DEVIATIONS * 1.4826, every=every)
    )


def _extend(level: NDArray[np.float64], reach: int) -> NDArray[np.float64]:
    """Heights continued beyond the edge by turning the ground about its edge, which keeps the slope."""
    near = min(reach, *(side - 1 for side in level.shape))
    return np.pad(np.pad(level, near, mode="reflect", reflect_type="odd"), reach - near, mode="edge")


def _patches(
    padded: NDArray[np.float64], row: NDArray[np.int64], col: NDArray[np.int64], window: _Window
) -> NDArray[np.float64]:
    """(n, cells of the window) heights around each place; `padded` is one reach larger on all sides."""
    south, east = np.nonzero(window.inside)
    return np.asarray(padded[row[:, None] + south, col[:, None] + east])


@dataclass(frozen=True)
class _Fit:
    """What the fit of each patch says, one array a column."""

    height_m: NDArray[np.float64]
    likeness: NDArray[np.float64]
    shift_m: EastNorth
    elongation: NDArray[np.float64]
    angle_deg: NDArray[np.float64]


def _fit(patches: NDArray[np.float64], window: _Window, /, *, cell_m: float) -> _Fit:
    """Height, likeness, place within the cell, elongation and angle of the bump in each patch."""
    weighted = patches * window.weight
    weighted = weighted - (weighted @ window.basis) @ window.basis.T
    energy = np.maximum((weighted**2).sum(axis=1), 1e-12)
    height = weighted @ window.bump / (window.bump @ window.bump)
    norm_sq = (window.shifts**2).sum(axis=0)
    shift_m = weighted @ window.shifts / norm_sq / np.maximum(height, 1e-9)[:, None]
    # The middle lies within its cell; a larger shift would be another shape.
    shift_m = np.clip(shift_m, -0.6 * cell_m, 0.6 * cell_m)
    bells = window.weight * window.bells_at(shift_m)
    bells -= (bells @ window.basis) @ window.basis.T
    height = (weighted * bells).sum(axis=1) / (bells**2).sum(axis=1)
    likeness = np.clip(1 - ((weighted - height[:, None] * bells) ** 2).sum(axis=1) / energy, 0, 1)
    elongation, angle_deg = _axes(patches, height, window)
    return _Fit(height, likeness, shift_m, elongation, angle_deg)


def _axes(
    patches: NDArray[np.float64], height: NDArray[np.float64], window: _Window
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Elongation and direction of the upper part of the bump, once the ground around is taken away.

    Counted is what stands above two fifths of its height, so that its foot, lost in the ground around, has no say.
    """
    east_m, north_m = window.east_m, window.north_m
    above = patches - _polynomial_beside_bump(patches, height, window)
    share = np.clip(above / np.maximum(height, 1e-9)[:, None] - 0.4, 0, None)
    share *= np.hypot(east_m, north_m) <= 1.2 * window.radius_m
    total = np.maximum(share.sum(axis=1), 1e-9)
    mean_e, mean_n = share @ east_m / total, share @ north_m / total
    ee = share @ east_m**2 / total - mean_e**2
    nn = share @ north_m**2 / total - mean_n**2
    en = share @ (east_m * north_m) / total - mean_e * mean_n
    middle, spread = (ee + nn) / 2, np.hypot((ee - nn) / 2, en)
    elongation = np.sqrt((middle + spread) / np.maximum(middle - spread, 1e-3))
    return np.maximum(elongation, 1), np.degrees(0.5 * np.arctan2(2 * en, nn - ee)) % 180


def _polynomial_beside_bump(
    patches: NDArray[np.float64], height: NDArray[np.float64], window: _Window
) -> NDArray[np.float64]:
    """The ground around continued under the bump."""
    bell = window.bells_at(np.zeros((1, 2)))
    rest = (patches - height[:, None] * bell) * window.weight
    return np.asarray((rest @ window.basis) @ window.basis.T / window.weight)


MOST_CONTRAST = 6.0
"""Contrast above which a bump is no better than another: it stands out either way, and likeness decides (our
choice)."""


def best_of_each_place(bumps: Bumps, /) -> Bumps:
    """The bumps, best first, without those that lie within the radius of a better one; ties go to the north-western."""
    if not len(bumps.height_m):
        return bumps
    worth = bumps.likeness * np.minimum(bumps.contrast, MOST_CONTRAST)
    order = np.lexsort((bumps.places[:, 0], -bumps.places[:, 1], -worth))
    rank = np.empty(len(order), np.int64)
    rank[order] = np.arange(len(order))
    # A hair more, as the tree reckons with squares of distances.
    pairs = cKDTree(bumps.places).query_pairs(1.001 * float(bumps.radius_m.max()), output_type="ndarray")
    away_m = np.hypot(*(bumps.places[pairs[:, 0]] - bumps.places[pairs[:, 1]]).T)
    ranks = np.sort(rank[pairs[away_m < bumps.radius_m[pairs].max(axis=1)]], axis=1)
    lost = np.zeros(len(order), bool)
    # By the better one of each pair: once its turn comes, all that could take its place have had theirs.
    for better, worse in ranks[np.argsort(ranks[:, 0])].tolist():
        lost[worse] |= not lost[better]
    return bumps.where(order[~lost])


def taller_than_lumps(bumps: Bumps, lumps: Bumps, /, *, reach_m: float, n_equal: int) -> NDArray[np.float64]:
    """(n,) height of each bump over that of the lumps around it, the `n_equal` highest of them left out.

    Where lump stands beside lump none is a landmark. Lumps within the bump itself do not count; infinite where there
    are no more than `n_equal` lumps within `reach_m`.
    """
    ratio = np.full(len(bumps.height_m), np.inf)
    if not len(lumps.height_m):
        return ratio
    near = cKDTree(lumps.places).query_ball_point(bumps.places, 1.001 * reach_m)
    for number, around in enumerate(near):
        away_m = np.hypot(*(lumps.places[around] - bumps.places[number]).T)
        counts = (away_m > bumps.radius_m[number]) & (away_m <= reach_m)
        highest_m = np.sort(lumps.height_m[around][counts])[::-1]
        if len(highest_m) > n_equal:
            ratio[number] = bumps.height_m[number] / highest_m[n_equal]
    return ratio
