"""Cliffs 201 and 202: lines along the top edge where the ground falls faster than the slope above and below explains.

A cliff is told from a steep slope by its excess: the fall over a short run, less what the ground just above and just
below would fall over the same run. Even steepness has none, however steep.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.features import make_features
from pipeline.grid import Grid, Heights, Mask
from pipeline.rock.breaks import Places, find_breaks, places_along
from pipeline.rock.falls import Steps, filled, measure_steps, row_col, sample, smooth_directions
from pipeline.rock.lips import put_back_lips
from pipeline.rock.paper import ground_m
from pipeline.rock.ridges import ridge_lines
from pipeline.settings import RockSettings

Floats = NDArray[np.float64]

CLIFF_LOG_ODDS = (-2.45, 1.96, 4.24, 1.77, 3.39, -5.01)
"""Log odds for each of `face_terms`; fitted by `python -m tests.benchmarks.rock_cliffs fit` to steps planted in real
tiles and to the cliffs of made scenes."""


def find_cliffs(
    bare_earth: Heights,
    ground_support: Heights,
    grid: Grid,
    /,
    *,
    lowest: Heights | None = None,
    scale: int,
    settings: RockSettings,
) -> gpd.GeoDataFrame:
    """Cliffs as lines along the top edge, the fall on the right hand side.

    Parameters
    ----------
    bare_earth, ground_support : (rows, cols) float32, metres
    lowest : (rows, cols) float32, metres
        As `pipeline.terrain.surface.lowest_last` gives it; without it the bare earth is taken for what was seen, and
        cliffs whose lip a ground filter took off are missed.

    Returns
    -------
    GeoDataFrame of lines: symbol 201 or 202, height_m (the 75th percentile along the line), width_m (plan extent of
    the face), angle_deg (way down), confidence, evidence.
    """
    faces = measure_faces(bare_earth, ground_support, grid, lowest=lowest, settings=settings)
    least_m = ground_m(settings.cliff_min_length_mm, scale=scale)
    return make_features(
        [_at_least(face.edge, least_m) for face in faces],
        crs=grid.crs,
        symbol=[_symbol(face, settings) for face in faces],
        confidence=[_confidence(face, settings) for face in faces],
        evidence=[_describe(face) for face in faces],
        elevation_m=[face.elevation_m for face in faces],
        height_m=[face.height_m for face in faces],
        width_m=[face.face_m for face in faces],
        angle_deg=[face.way_down_deg for face in faces],
    )


@dataclass(frozen=True)
class Face:
    """One traced step, measured.

    Attributes
    ----------
    edge : along the top, the fall on the right hand side
    elevation_m : of the edge, the mean
    height_m : from lip to foot, the 75th percentile along the line
    face_m : plan extent from lip to foot, the median
    excess_m : fall over a run beyond what the slope explains, the median
    support_m : to the nearest ground return, the median
    length_m : of the traced line
    turn_deg : how far it turns round one way
    way_down_deg : clockwise from north
    jump_m : by how much the ground above, continued to the edge, is higher than the ground below, the median
    face_share : share of the cells just below the edge whose lowest return lies between the two: on a slope or a plant
    """

    edge: shapely.LineString
    elevation_m: float
    height_m: float
    face_m: float
    excess_m: float
    support_m: float
    length_m: float
    turn_deg: float
    way_down_deg: float
    jump_m: float
    face_share: float


def measure_faces(
    bare_earth: Heights,
    ground_support: Heights,
    grid: Grid,
    /,
    *,
    lowest: Heights | None = None,
    settings: RockSettings,
) -> list[Face]:
    """Every face that may be a cliff, as `find_cliffs` takes them."""
    lowest = bare_earth if lowest is None else lowest
    bare_earth = put_back_lips(bare_earth, lowest, grid, settings=settings)
    steps = measure_steps(bare_earth, grid, settings=settings)
    traced = ridge_lines(_step_cells(steps, settings), grid)
    pieces = [piece for line in traced for piece in cut_where_weak(line, steps, grid, settings=settings)]
    lines = [piece for piece in pieces if piece.length >= settings.cliff_keep_length_m]
    heights = filled(bare_earth)
    seen = _breaks_along(places_along(lines, steps, grid), lowest, bare_earth, grid, settings=settings)
    support = np.nan_to_num(ground_support.astype(np.float64), nan=9.0)
    faces = [
        _measure(line, *one, heights, support, steps, grid, settings) for line, one in zip(lines, seen, strict=True)
    ]
    # Where the ground above is hardly higher than that below, the bare earth bulges, and its flank is no face.
    return [f for f in faces if f.height_m >= settings.cliff_min_height_m and f.jump_m >= settings.lip_excess_m]


def cut_where_weak(
    line: shapely.LineString, steps: Steps, grid: Grid, /, *, settings: RockSettings
) -> list[shapely.LineString]:
    """The line cut where its step is weak over a stretch as long as a face: a cliff has run on into a bank or gully."""
    along = np.arange(0.5, line.length, 1.0)
    longest_weak = int(settings.cliff_keep_length_m)
    if len(along) < 2 * longest_weak:
        return [line]
    excess = sample(steps.excess_m, *row_col(np.array([line.interpolate(d).coords[0] for d in along]), grid))
    is_weak = excess < settings.cliff_weak_share * np.percentile(excess, 90)
    # Opened and closed again: stretches too short to be a face of their own stay with what is around them.
    is_weak = ndimage.binary_opening(is_weak, np.ones(longest_weak, bool))
    is_weak = ~ndimage.binary_opening(~is_weak, np.ones(longest_weak, bool))
    if is_weak.mean() < settings.cliff_cut_share:
        return [line]
    cuts = [0, *(np.flatnonzero(np.diff(is_weak)) + 1), len(along)]
    # What no longer hangs together with a strong step has to be one itself.
    kept = [(a, b) for a, b in pairwise(cuts) if len(cuts) == 2 or excess[a:b].max() >= settings.cliff_excess_m]
    return [_part(line, a, b if b < len(along) else line.length) for a, b in kept]


def _part(line: shapely.LineString, from_m: float, to_m: float) -> shapely.LineString:
    """The line between two distances along it."""
    return shapely.LineString(shapely.ops.substring(line, from_m, to_m).coords)


def _breaks_along(
    lines: list[Places], lowest: Heights, bare_earth: Heights, grid: Grid, /, *, settings: RockSettings
) -> list[tuple[float, float]]:
    """Of each line, by how much the ground above is higher than that below, and the share seen between the two."""
    found: list[tuple[float, float]] = []
    for places, _, breaks in find_breaks(lines, lowest, bare_earth, grid, settings=settings):
        for one in np.split(np.arange(len(places.line)), np.flatnonzero(np.diff(places.line)) + 1):
            n_face, n_foot = int(breaks.n_face[one].sum()), int(breaks.n_foot[one].sum())
            # Laplace's rule of succession: where next to nothing was seen, the share is a half.
            found.append((float(np.median(breaks.jump_m[one])), (n_face + 1) / (n_face + n_foot + 2)))
    return found


def _step_cells(steps: Steps, settings: RockSettings) -> Mask:
    """Cells of a step: weak ones count where they hang together with strong ones."""
    steepest = np.tan(np.radians(settings.cliff_min_slope_deg)) * settings.cliff_run_m
    strong = (steps.excess_m >= settings.cliff_excess_m) & (steps.fall_m >= steepest)
    weak = steps.excess_m >= settings.cliff_weak_excess_share * settings.cliff_excess_m
    weak &= steps.fall_m >= settings.cliff_weak_slope_share * steepest
    labels, n = ndimage.label(weak, np.ones((3, 3)))
    has_strong = np.zeros(n + 1, bool)
    has_strong[np.unique(labels[strong])] = True
    has_strong[0] = False
    mask: Mask = has_strong[labels]
    return mask


def _measure(
    line: shapely.LineString,
    jump_m: float,
    face_share: float,
    heights: Floats,
    support: Floats,
    steps: Steps,
    grid: Grid,
    settings: RockSettings,
) -> Face:
    """Height, plan extent and place of the edge of a step, from profiles across it every metre."""
    places = np.array([line.interpolate(d).coords[0] for d in np.arange(0.5, line.length, 1.0)])
    row, col = row_col(places, grid)
    down = smooth_directions(np.column_stack((sample(steps.down_east, row, col), sample(steps.down_north, row, col))))
    lip, foot, height = _profile(places, down, heights, grid)
    edge = _edge_line(places, down, lip)
    excess = sample(steps.excess_m, row, col)
    return Face(
        edge=edge,
        elevation_m=float(np.mean(sample(heights, *row_col(np.array(edge.coords), grid)))),
        height_m=float(np.percentile(height, 75)),
        face_m=max(float(np.median(foot - lip)), grid.cell_m),
        excess_m=float(np.median(excess)),
        support_m=float(np.median(sample(support, row, col))),
        length_m=line.length,
        turn_deg=_turn_deg(edge, excess, settings),
        way_down_deg=float(np.degrees(np.arctan2(down[:, 0].mean(), down[:, 1].mean())) % 360),
        jump_m=jump_m,
        face_share=face_share,
    )


def _symbol(face: Face, settings: RockSettings) -> str:
    """201 for what is high and steep, else 202; ISOM 2017-2 gives 201 no height, so it is a proposal."""
    is_steep = face.height_m / face.face_m >= np.tan(np.radians(settings.impassable_min_slope_deg))
    return "201" if is_steep and face.height_m >= settings.impassable_min_height_m else "202"


def _describe(face: Face) -> str:
    return (
        f"ground falls {face.height_m:.1f} m over {face.face_m:.1f} m, {face.excess_m:.1f} m more than the slope above "
        f"and below explains, along {face.length_m:.0f} m; continued to the edge, the ground above is "
        f"{face.jump_m:.1f} m higher than that below; {100 * face.face_share:.0f} % of the lowest returns at the foot "
        f"lie between; nearest ground return {face.support_m:.1f} m away"
    )


def face_terms(face: Face, /) -> Floats:
    """(6,) what the log odds of a face weigh.

    One; the logarithms of excess, steepness, length and of the share of the height that is a jump; and the share of
    returns between. Logarithms, because a face twice as high is as much surer at one metre as at three.
    """
    steepness = np.clip(face.height_m / face.face_m, 0.3, 4.0)
    jump_share = np.clip(face.jump_m / face.height_m, 0.2, 1.2)
    sizes = (max(face.excess_m, 0.3), steepness, np.clip(face.length_m, 5, 60), jump_share)
    return np.array([1.0, *np.log(sizes), face.face_share])


def _confidence(face: Face, settings: RockSettings) -> float:
    """Probability that a mapper would draw the step as a cliff.

    By rule it is lower where returns are far from the face, so that only the ground above and below was seen. A face
    that turns far round one way is the side of a pit or a dam, which is an earth bank (ISOM 2017-2, 104) until
    somebody has seen rock there.
    """
    odds = float(face_terms(face) @ np.array(CLIFF_LOG_ODDS))
    odds -= settings.cliff_unseen_log_odds_per_m * max(face.support_m - settings.cliff_seen_m, 0.0)
    sure = float(1 / (1 + np.exp(-odds)))
    return min(sure, settings.cliff_turning_confidence) if face.turn_deg > settings.cliff_most_turn_deg else sure


def _turn_deg(edge: shapely.LineString, excess: Floats, settings: RockSettings) -> float:
    """How far a line turns round one way, beyond what its wiggles and the hooks at its ends do.

    Weak ends are left out: there a straight face runs out into the slopes beside it, which turn as they like, while
    the side of a pit is about as high all round.
    """
    strong = np.flatnonzero(excess >= settings.cliff_end_share * np.percentile(excess, 90))
    first, last = strong[0] / len(excess), (strong[-1] + 1) / len(excess)
    shares = first + (last - first) * np.linspace(0.1, 0.9, 9)
    smooth = np.array([edge.interpolate(share, normalized=True).coords[0] for share in shares])
    legs = np.diff(smooth, axis=0)
    heading = np.unwrap(np.arctan2(legs[:, 1], legs[:, 0]))
    return float(np.degrees(abs(heading[-1] - heading[0])))


def _profile(places: Floats, down: Floats, heights: Floats, grid: Grid) -> tuple[Floats, Floats, Floats]:
    """Distances of lip and foot from the line (metres down the slope) and the height between them, at each place.

    Lip and foot are where the profile departs most from the chord between 4 m above and 4 m below: the highest and
    the lowest point of what is left.
    """
    reach = np.arange(-4.0, 4.01, 0.25)
    east = places[:, 0:1] + down[:, 0:1] * reach
    north = places[:, 1:2] + down[:, 1:2] * reach
    row, col = row_col(np.column_stack((east.ravel(), north.ravel())), grid)
    profile = sample(heights, row, col).reshape(east.shape)
    chord = profile[:, :1] + (profile[:, -1:] - profile[:, :1]) * (reach - reach[0]) / (reach[-1] - reach[0])
    left = profile - chord
    middle = len(reach) // 2
    lip_at = left[:, : middle + 3].argmax(axis=1)
    foot_at = middle - 2 + left[:, middle - 2 :].argmin(axis=1)
    each = np.arange(len(places))
    return reach[lip_at], reach[foot_at], profile[each, lip_at] - profile[each, foot_at]


def _edge_line(places: Floats, down: Floats, lip: Floats) -> shapely.LineString:
    """The line moved to the lip, smoothed, with the fall on its right hand side."""
    shift = ndimage.uniform_filter1d(ndimage.median_filter(lip, 5, mode="nearest"), 5, mode="nearest")
    edge = places + down * shift[:, None]
    edge = np.asarray(ndimage.gaussian_filter1d(edge, 1.5, axis=0, mode="nearest"))
    along = edge[-1] - edge[0]
    right = np.array([along[1], -along[0]])
    if right @ down.mean(axis=0) < 0:
        edge = edge[::-1]
    return shapely.LineString(shapely.get_coordinates(shapely.simplify(shapely.LineString(edge), 0.3)))


def _at_least(line: shapely.LineString, length_m: float) -> shapely.LineString:
    """The line, drawn out at both ends to the least length the symbol needs."""
    missing = length_m - line.length
    if missing <= 0:
        return line
    ends = np.array(line.coords)
    first, last = ends[0] - ends[-1], ends[-1] - ends[0]
    first, last = first / max(np.hypot(*first), 1e-9), last / max(np.hypot(*last), 1e-9)
    return shapely.LineString([ends[0] + first * missing / 2, *ends[1:-1], ends[-1] + last * missing / 2])
