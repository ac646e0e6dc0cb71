"""Cliffs 201 and 202: lines along the top edge where the ground falls faster than the slope above and below explains.

A cliff is told from a steep slope by its excess: the fall over a short run, less what the ground just above and just
below would fall over the same run. Even steepness has none, however steep.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.features import make_features
from pipeline.grid import Grid, Heights, Mask
from pipeline.rock.falls import Steps, filled, measure_steps, row_col, sample, smooth_directions
from pipeline.rock.paper import ground_m
from pipeline.rock.ridges import ridge_lines
from pipeline.settings import RockSettings

Floats = NDArray[np.float64]

CLIFF_LOG_ODDS = (-4.4, 4.8, 0.59, 0.43)
"""Log odds for each of `face_terms`; fitted by `python -m tests.benchmarks.rock_cliffs fit` to steps planted in real
tiles and to the cliffs of made scenes."""
UNSEEN_LOG_ODDS_PER_M, SEEN_M = 0.8, 0.7
"""Log odds lost a metre between the face and the nearest ground return, beyond the spacing of returns in open
forest (common practice, no source)."""


def find_cliffs(
    bare_earth: Heights, ground_support: Heights, grid: Grid, /, *, scale: int, settings: RockSettings
) -> gpd.GeoDataFrame:
    """Cliffs as lines along the top edge, the fall on the right hand side.

    Parameters
    ----------
    bare_earth, ground_support : (rows, cols) float32, metres

    Returns
    -------
    GeoDataFrame of lines: symbol 201 or 202, height_m (the 75th percentile along the line), width_m (plan extent of
    the face), angle_deg (way down), confidence, evidence.
    """
    steps = measure_steps(bare_earth, grid, run_m=settings.cliff_run_m)
    is_step = _step_cells(steps, settings)
    lines = ridge_lines(is_step, grid)
    heights = filled(bare_earth)
    long = [line for line in lines if line.length >= settings.cliff_keep_length_m]
    faces = [_measure(line, heights, ground_support, steps, grid) for line in long]
    faces = [face for face in faces if face.height_m >= settings.cliff_min_height_m]
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


def _step_cells(steps: Steps, settings: RockSettings) -> Mask:
    """Cells of a step: weak ones count where they hang together with strong ones."""
    steepest = np.tan(np.radians(settings.cliff_min_slope_deg)) * settings.cliff_run_m
    strong = (steps.excess_m >= settings.cliff_excess_m) & (steps.fall_m >= steepest)
    weak = (steps.excess_m >= 0.6 * settings.cliff_excess_m) & (steps.fall_m >= 0.7 * steepest)
    labels, n = ndimage.label(weak, np.ones((3, 3)))
    has_strong = np.zeros(n + 1, bool)
    has_strong[np.unique(labels[strong])] = True
    has_strong[0] = False
    mask: Mask = has_strong[labels]
    return mask


@dataclass(frozen=True)
class _Face:
    """One traced step, measured."""

    edge: shapely.LineString
    elevation_m: float
    height_m: float
    face_m: float
    excess_m: float
    support_m: float
    length_m: float
    turn_deg: float
    way_down_deg: float


def _measure(line: shapely.LineString, heights: Floats, ground_support: Heights, steps: Steps, grid: Grid) -> _Face:
    """Height, plan extent and place of the edge of a step, from profiles across it every metre."""
    places = np.array([line.interpolate(d).coords[0] for d in np.arange(0.5, line.length, 1.0)])
    row, col = row_col(places, grid)
    down = smooth_directions(np.column_stack((sample(steps.down_east, row, col), sample(steps.down_north, row, col))))
    lip, foot, height = _profile(places, down, heights, grid)
    edge = _edge_line(places, down, lip)
    return _Face(
        edge=edge,
        elevation_m=float(np.mean(sample(heights, *row_col(np.array(edge.coords), grid)))),
        height_m=float(np.percentile(height, 75)),
        face_m=max(float(np.median(foot - lip)), grid.cell_m),
        excess_m=float(np.median(sample(steps.excess_m, row, col))),
        support_m=float(np.median(sample(np.nan_to_num(ground_support, nan=9.0), row, col))),
        length_m=line.length,
        turn_deg=_turn_deg(edge),
        way_down_deg=float(np.degrees(np.arctan2(down[:, 0].mean(), down[:, 1].mean())) % 360),
    )


def _symbol(face: _Face, settings: RockSettings) -> str:
    """201 for what is high and steep, else 202; ISOM 2017-2 gives 201 no height, so it is a proposal."""
    is_steep = face.height_m / face.face_m >= np.tan(np.radians(settings.impassable_min_slope_deg))
    return "201" if is_steep and face.height_m >= settings.impassable_min_height_m else "202"


def _describe(face: _Face) -> str:
    return (
        f"ground falls {face.height_m:.1f} m over {face.face_m:.1f} m, {face.excess_m:.1f} m more than the slope above "
        f"and below explains, along {face.length_m:.0f} m; nearest ground return {face.support_m:.1f} m away"
    )


def face_terms(excess_m: Floats, height_m: Floats, face_m: Floats, length_m: Floats, /) -> Floats:
    """(k, 4) what the log odds of a face weigh: one, and the logarithms of excess, steepness and length.

    Logarithms, because a face twice as high is as much surer at one metre as at three.
    """
    steepness = np.clip(height_m / face_m, 0.3, 4.0)
    logs = (np.log(np.maximum(excess_m, 0.3)), np.log(steepness), np.log(np.clip(length_m, 5, 60)))
    return np.column_stack((np.ones(len(steepness)), *logs))


def _confidence(step: _Face, settings: RockSettings) -> float:
    """Probability that a mapper would draw the step as a cliff.

    By rule it is lower where returns are far from the face, so that only the ground above and below was seen. A face
    that turns far round one way is the side of a pit or a dam, which is an earth bank (ISOM 2017-2, 104) until
    somebody has seen rock there.
    """
    each = (np.array([value]) for value in (step.excess_m, step.height_m, step.face_m, step.length_m))
    odds = float((face_terms(*each) @ np.array(CLIFF_LOG_ODDS))[0])
    odds -= UNSEEN_LOG_ODDS_PER_M * max(step.support_m - SEEN_M, 0.0)
    sure = float(1 / (1 + np.exp(-odds)))
    return min(sure, settings.cliff_turning_confidence) if step.turn_deg > settings.cliff_most_turn_deg else sure


def _turn_deg(edge: shapely.LineString) -> float:
    """How far a line turns round one way, beyond what its wiggles and the hooks at its ends do."""
    smooth = np.array([edge.interpolate(share, normalized=True).coords[0] for share in np.linspace(0.1, 0.9, 9)])
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
