"""Band limits from a mapper's notes: what was found on foot against the density measured there.

Densities mean different things in different forests, seasons and sensors; a few notes tell by how much. The fit is
an ordinal regression that starts from the limits in use and moves only as far as the notes carry it, so that no
notes change nothing and few notes change little.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize
from scipy.cluster.hierarchy import fcluster, linkage
from scipy.optimize import minimize
from scipy.special import expit
from shapely.geometry import Point
from shapely.geometry.base import BaseGeometry

from pipeline.lattice.grid import EastNorth, Grid, Heights
from pipeline.lattice.means import Known, gaussian_window
from pipeline.settings import CalibrationSettings
from pipeline.vegetation.running.runnability import BAND_SYMBOLS, Limits

PLACE_M = 25.0
"""Notes nearer together than this are one place and judged together: they share one thicket."""
LEAST_NOTES = 12
"""With fewer nothing is changed: ten for each thing fitted, less what the limits in use already tell (common
practice)."""
LEAST_PLACES = 3
"""With fewer nothing is changed: each place is judged by the others, so by two or more."""
OWN_SPREAD_RATIO = 0.15
"""The same for each limit by itself: they move together rather than apart."""
NOTE_SPREAD_RATIO = 0.35
"""Scatter of log density among notes of one opinion, where the fit starts from: a third up or down."""
NOTE_SPREAD_ERROR_RATIO = 0.5
"""One sigma of the logarithm of that scatter: mappers are not equally steady."""
KAPPA_SLACK = 0.02
"""A weighted kappa less by this is the same: one note in thirty that changes sides by one band."""
STRONG_EVIDENCE_NATS = 3.0
"""Gain in log likelihood that counts more than a few notes changing sides: twenty to one is strong (Kass and Raftery
1995). Kappa of thirty notes is itself uncertain by some 0.08."""
WANTED_ERROR_RATIO = 0.1
"""Error of the limits above which more notes are asked for: a tenth (common practice, no source)."""
NEXT_WINDOW_M = 10.0
"""Sigma in which such a place is judged: ground large enough that mapper and survey mean the same."""
NEXT_APART_M = 100.0
"""Such places keep this far from each other and from notes already made."""
LEAST_DOUBT_BITS = 0.5
"""Entropy of the bands below which a note teaches nothing: the likelier of two is surer than 9 in 10."""
LEAST_DENSITY_M2_PER_M3 = 0.01
"""Lower densities are all the same to a runner, and a logarithm must stop somewhere."""

Numbers = NDArray[np.float64]
Bands = NDArray[np.int64]

BAND_OF_SYMBOL = {"405": 0, "406": 1, "407": 1, "408": 2, "409": 2, "410": 3}
"""Band a note means by its symbol: index into `pipeline.vegetation.running.runnability.BAND_SYMBOLS`."""
N_BANDS = len(BAND_SYMBOLS)


@dataclass(frozen=True)
class Notes:
    """What was found on foot, one value a note.

    Attributes
    ----------
    place : (n, 2) east, north in metres
    density : (n,) m2/m3 measured there
    band : (n,) 0 to 3, index into BAND_SYMBOLS
    """

    place: EastNorth
    density: Numbers
    band: Bands

    def take(self, which: NDArray[np.bool_]) -> Notes:
        """The chosen notes."""
        return Notes(self.place[which], self.density[which], self.band[which])


@dataclass(frozen=True)
class Calibration:
    """What the notes say.

    Attributes
    ----------
    limits : the limits to use: fitted ones, or those before where the notes are too few or teach nothing
    limits_before : the limits the notes were compared with
    limits_error_ratio : (3,) one sigma of each fitted limit, as a share of it
    spread_ratio : scatter of what one density means to the mapper, one sigma of its logarithm
    n_notes, n_places : notes used, and groups of notes that lie together
    confusion_before, confusion_after : (4, 4) counts, row: band found, column: band drawn; after is cross-validated
    kappa_before, kappa_after : quadratic weighted kappa of the two; NaN where not defined
    is_used : whether `limits` are the fitted ones
    more_notes : how many more notes would bring the error of every limit to what is wanted; 0 where that is reached
    message : one or two sentences for the mapper
    """

    limits: Limits
    limits_before: Limits
    limits_error_ratio: Numbers
    spread_ratio: float
    n_notes: int
    n_places: int
    confusion_before: NDArray[np.int64]
    confusion_after: NDArray[np.int64]
    kappa_before: float
    kappa_after: float
    is_used: bool
    more_notes: int
    message: str


def calibrate(notes: Notes, /, *, limits: Limits, settings: CalibrationSettings) -> Calibration:
    """Band limits fitted to notes, judged by leaving out place after place.

    Parameters
    ----------
    limits : densities (m2/m3) in use, where 406, 408 and 410 begin

    Raises
    ------
    ValueError
        If a band is not 0 to 3, a density is negative, or the limits do not rise.
    """
    _check(notes, limits)
    notes = notes.take(np.isfinite(notes.density))
    place = group_places(notes.place, distance_m=PLACE_M)
    n_places = int(place.max(initial=-1)) + 1
    drawn = np.digitize(notes.density, limits)
    before = confusion(notes.band, drawn)
    is_few = len(notes.band) < LEAST_NOTES or n_places < LEAST_PLACES
    if is_few or len(np.unique(notes.band)) < 2:
        return _unchanged(notes, limits, n_places, before)
    fit = fit_limits(notes.density, notes.band, limits=limits, settings=settings)
    left_out, likelier = _left_out(notes, place, limits, settings)
    after = confusion(notes.band, left_out)
    is_worse = weighted_kappa(after) < weighted_kappa(before) - KAPPA_SLACK
    is_used = likelier > (STRONG_EVIDENCE_NATS if is_worse else 0)
    wanted = len(notes.band) * (float(fit.error.max()) / WANTED_ERROR_RATIO) ** 2
    more = max(0, round(wanted) - len(notes.band))
    return Calibration(
        limits=fit.limits if is_used else limits,
        limits_before=limits,
        limits_error_ratio=fit.error,
        spread_ratio=fit.spread,
        n_notes=len(notes.band),
        n_places=n_places,
        confusion_before=before,
        confusion_after=after,
        kappa_before=weighted_kappa(before),
        kappa_after=weighted_kappa(after),
        is_used=is_used,
        more_notes=more,
        message=_verdict(fit.limits, is_used, before, after, _wish(more)),
    )


def _check(notes: Notes, limits: Limits) -> None:
    if not 0 < limits[0] < limits[1] < limits[2]:
        raise ValueError(f"the limits of 406, 408 and 410 must rise, not {limits}")
    if len(notes.band) and not (notes.band.min() >= 0 and notes.band.max() < N_BANDS):
        raise ValueError("bands are numbered 0 (405) to 3 (410)")
    if bool(np.any(notes.density < 0)):
        raise ValueError("a density cannot be negative")


def _unchanged(notes: Notes, limits: Limits, n_places: int, before: NDArray[np.int64]) -> Calibration:
    """The answer to too few notes."""
    n, least_notes, least_places = len(notes.band), LEAST_NOTES, LEAST_PLACES
    more = max(least_notes - n, least_places - n_places, 1)
    one_band = n >= least_notes and n_places >= least_places
    reason = "all notes name the same band" if one_band else f"{n} notes at {n_places} places are too few"
    message = (
        f"The limits stay as they were: {reason}. At least {more} more would help, "
        f"of several bands and {least_places} or more places apart from each other."
    )
    unknown = np.full(N_BANDS - 1, np.nan)
    spread, kappa = NOTE_SPREAD_RATIO, weighted_kappa(before)
    return Calibration(limits, limits, unknown, spread, n, n_places, before, before, kappa, kappa, False, more, message)


def _wish(more: int) -> str:
    return f" About {more} more notes would bring every limit within {WANTED_ERROR_RATIO:.0%}." if more else ""


def _verdict(fitted: Limits, is_used: bool, before: NDArray[np.int64], after: NDArray[np.int64], wish: str) -> str:
    numbers = ", ".join(f"{value:.2f}" for value in fitted)
    kappas = (
        f"weighted kappa {weighted_kappa(before):.2f} before, {weighted_kappa(after):.2f} after, by places left out"
    )
    if is_used and weighted_kappa(after) < weighted_kappa(before):
        kappas += "; fewer notes agree, but all together are much likelier so"
    if is_used:
        return f"406, 408 and 410 now begin at {numbers} m2/m3 ({kappas}).{wish}"
    return f"The limits stay as they were: fitted ones ({numbers} m2/m3) do no better ({kappas}).{wish}"


# ---------------------------------------------------------------- the fit


@dataclass(frozen=True)
class LimitFit:
    """Fitted limits (m2/m3), their one-sigma error as a share, and the scatter of log density among notes."""

    limits: Limits
    error: Numbers
    spread: float


def fit_limits(density: Numbers, band: Bands, /, *, limits: Limits, settings: CalibrationSettings) -> LimitFit:
    """Ordinal (proportional odds) regression of the band on log density, with the limits in use as prior.

    McCullagh (1980): P(band >= j) = logistic((log density - log limit_j) / s). Limits share a common shift of
    `common_spread_ratio` and have one of `own_spread_ratio` each; s starts at `note_spread_ratio`. The prior is why no
    library is used: notes that agree with each other perfectly have no maximum-likelihood answer at all. Limits that
    fall short of each other are kept in order. The error is that of a Gaussian around the best fit (Laplace).
    """
    start = np.log(np.asarray(limits))
    start_spread = np.log(NOTE_SPREAD_RATIO)
    precision = np.linalg.inv(OWN_SPREAD_RATIO**2 * np.eye(3) + settings.common_spread_ratio**2)

    def cost(theta: Numbers) -> float:
        cut, log_spread = theta[:3], theta[3]
        chances = band_chances(density, limits=tuple(np.exp(cut)), spread=float(np.exp(log_spread)))
        chance = chances[np.arange(len(band)), band]
        shift = cut - start
        off = (log_spread - start_spread) / NOTE_SPREAD_ERROR_RATIO
        prior = 0.5 * shift @ precision @ shift + 0.5 * off**2
        return float(prior - np.log(np.maximum(chance, 1e-12)).sum())

    best = minimize(cost, np.append(start, start_spread), method="BFGS")
    cut = np.maximum.accumulate(best.x[:3] + np.array([0.0, 1e-6, 2e-6]))
    slow, walk, fight = (float(value) for value in np.exp(cut))
    error = np.sqrt(np.maximum(np.diag(_inverse_hessian(cost, best.x))[:3], 0))
    return LimitFit((slow, walk, fight), error, float(np.exp(best.x[3])))


def band_chances(density: Numbers, /, *, limits: tuple[float, ...], spread: float) -> Numbers:
    """(n, 4) probability that a mapper calls each density 405, 406, 408 or 410; rows add up to 1."""
    x = np.log(np.maximum(density, LEAST_DENSITY_M2_PER_M3))
    # A logistic distribution of scale s has standard deviation s pi / sqrt(3).
    above = expit((x[:, None] - np.log(limits)) / (spread * np.sqrt(3) / np.pi))
    edge = np.concatenate((np.ones((len(x), 1)), above, np.zeros((len(x), 1))), axis=1)
    return np.asarray(edge[:, :-1] - edge[:, 1:], np.float64)


def _inverse_hessian(cost: Callable[[Numbers], float], at: Numbers) -> Numbers:
    """Inverse of the matrix of second derivatives, by central differences."""
    n, step = len(at), 1e-3
    hessian = np.empty((n, n))
    unit = np.eye(n) * step
    for i in range(n):
        for j in range(n):
            corners = (cost(at + a * unit[i] + b * unit[j]) * a * b for a in (-1, 1) for b in (-1, 1))
            hessian[i, j] = sum(corners) / (4 * step**2)
    return np.asarray(np.linalg.pinv(hessian), np.float64)


# ---------------------------------------------------------------- how good it is


def group_places(place: EastNorth, /, *, distance_m: float) -> NDArray[np.int64]:
    """(n,) number of the place of each note: notes linked by steps shorter than `distance_m` are one place."""
    if len(place) < 2:
        return np.zeros(len(place), np.int64)
    return np.asarray(fcluster(linkage(place, "single"), distance_m, criterion="distance"), np.int64) - 1


def _left_out(
    notes: Notes, place: NDArray[np.int64], limits: Limits, settings: CalibrationSettings, most_folds: int = 10
) -> tuple[Bands, float]:
    """Band of each note by limits fitted without its place, and by how much that makes the notes likelier.

    The second is the sum of log probabilities of the bands found, with fitted limits less with those in use, the
    scatter being the same: it sees how near a note came to being right, where a count of right bands sees only the few
    that changed sides.
    """
    drawn = np.zeros(len(notes.band), np.int64)
    likelier = 0.0
    fold = place % most_folds
    for number in np.unique(fold):
        out = fold == number
        fit = fit_limits(notes.density[~out], notes.band[~out], limits=limits, settings=settings)
        drawn[out] = np.digitize(notes.density[out], fit.limits)
        new, old = (
            band_chances(notes.density[out], limits=cuts, spread=fit.spread)[np.arange(out.sum()), notes.band[out]]
            for cuts in (fit.limits, limits)
        )
        likelier += float((np.log(np.maximum(new, 1e-6)) - np.log(np.maximum(old, 1e-6))).sum())
    return drawn, likelier


def confusion(found: Bands, drawn: Bands, /) -> NDArray[np.int64]:
    """(4, 4) counts of notes, row: band found on foot, column: band drawn."""
    return np.bincount(found * N_BANDS + drawn, minlength=N_BANDS**2).reshape(N_BANDS, N_BANDS).astype(np.int64)


def weighted_kappa(counts: NDArray[np.int64], /) -> float:
    """Quadratic weighted kappa (Cohen 1968) of a square table of counts; NaN where chance alone explains all."""
    n = counts.sum()
    k = len(counts)
    weight = np.subtract.outer(np.arange(k), np.arange(k)) ** 2
    expected = np.outer(counts.sum(axis=1), counts.sum(axis=0)) / max(n, 1)
    by_chance = float((weight * expected).sum())
    return 1 - float((weight * counts).sum()) / by_chance if by_chance > 0 else float("nan")


# ---------------------------------------------------------------- from the map to notes and back


def density_at(density: Heights, grid: Grid, places: NDArray[np.object_], /, *, radius_m: float) -> Numbers:
    """(n,) median density (m2/m3) within each place: a polygon as it is, a point or line with this radius around it.

    The median, since a note means what fills the place, not the clump at its edge. NaN where nothing was seen.
    """
    is_area = shapely.get_dimensions(places) == 2
    shapes = np.where(is_area, places, shapely.buffer(places, radius_m))
    return np.array([_median_within(density, grid, shape) for shape in shapes], np.float64)


def _median_within(density: Heights, grid: Grid, shape: BaseGeometry) -> float:
    window = grid.window_around(shape.bounds)
    part = density[window]
    if part.size == 0:
        return float("nan")
    transform = grid.part(window).transform
    inside = rasterize([shape], out_shape=part.shape, transform=transform, all_touched=True).astype(np.bool_)
    values = part[inside & np.isfinite(part)]
    return float(np.median(values)) if len(values) else float("nan")


def where_notes_teach(
    density: Heights,
    grid: Grid,
    known: EastNorth,
    /,
    *,
    limits: Limits,
    spread: float,
    settings: CalibrationSettings,
) -> gpd.GeoDataFrame:
    """Places where the next notes would teach most, the most telling first.

    A note tells most where the band is least certain (greatest entropy of its probabilities) over ground large and
    even enough that the mapper and the survey mean the same; `next_window_m` is the Gaussian it is judged in. Places
    keep `next_apart_m` from each other and from notes already made (`known`, (n, 2)).

    Returns
    -------
    GeoDataFrame with points, `density` (m2/m3), `between` (two symbols) and `entropy` (0..1).
    """
    smooth, even = _even_ground(density, NEXT_WINDOW_M / grid.cell_m)
    chance = band_chances(smooth.ravel().astype(np.float64), limits=limits, spread=spread)
    entropy = -(chance * np.log(np.maximum(chance, 1e-12))).sum(axis=1) / np.log(2)
    doubt = np.where(np.isfinite(entropy), entropy, 0.0).reshape(density.shape)
    value = np.where(doubt >= LEAST_DOUBT_BITS, doubt * even, 0.0)
    taken = [tuple(place) for place in known]
    rows: list[tuple[Point, float, str, float]] = []
    east, north = grid.centres()
    for flat in np.argsort(-value, axis=None, kind="stable"):
        row, col = divmod(int(flat), grid.cols)
        place = float(east[col]), float(north[row])
        if len(rows) == settings.next_notes or value[row, col] <= 0:
            break
        if all(np.hypot(place[0] - e, place[1] - n) >= NEXT_APART_M for e, n in taken):
            taken.append(place)
            first, second = sorted(np.argsort(-chance[flat], kind="stable")[:2])
            between = f"{BAND_SYMBOLS[first]} or {BAND_SYMBOLS[second]}"
            rows.append((Point(place), float(smooth[row, col]), between, float(min(entropy[flat], 1.0))))
    columns = ["geometry", "density", "between", "entropy"]
    return gpd.GeoDataFrame(
        dict(zip(columns, zip(*rows, strict=True) if rows else [[]] * 4, strict=True)), crs=grid.crs
    )


def _even_ground(density: Heights, sigma: float) -> tuple[Heights, Heights]:
    """Mean density in a Gaussian window, and how even it is there (1 even, 0 patchy or not seen)."""
    seen = Known.of(np.isfinite(density), gaussian_window(sigma, rim="constant"), dtype=np.float32)
    mean = seen.mean(density)
    spread = np.sqrt(np.maximum(seen.mean(density**2) - mean**2, 0))
    even = np.exp(-spread / np.maximum(mean, LEAST_DENSITY_M2_PER_M3)) * (seen.share > 0.5)
    return np.where(seen.share > 0.5, mean, np.nan).astype(np.float32), even.astype(np.float32)
