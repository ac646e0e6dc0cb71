"""How far a finished map lies off lidar, as one shift and a smooth local stretch.

The shift is voted for: each place of the map says by which shifts something of its kind would lie on it, and the shift
that most agree on is taken. Then least squares on the corners of a lattice fit what is left, across lines and both ways
at points, with weights that fade for what does not fit (Tukey's biweight; Holland and Welsch 1977), and again from
where the map then lies (iterative closest points; Besl and McKay 1992). Between neighbouring corners it may change
little, so that it stays smooth where nothing is seen. The map itself is never moved: this is for comparing alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse.linalg import splu
from scipy.spatial import cKDTree

from pipeline.refresh.register.shift import Shift, biweight
from pipeline.refresh.stretch.pairs import Numbers, Pairs, Places, find_pairs, places_of

FARTHEST_M = 25.0
"""No larger shift of a map is looked for, in metres: five times what maps are commonly off by (our choice)."""
VOTE_CELL_M, VOTE_SIGMA = 1.0, 1.5
"""Cells of shifts that are voted for, in metres, and how far a vote spreads, in cells (our choice)."""
MOST_TURN_TO_VOTE = 0.94
"""Cosine of 20 degrees: lines that vote run nearly the same way (our choice)."""
LATTICE_M = 150.0
"""Distance of the corners between which the stretch is linear, in metres (our choice)."""
CHANGE_M = 3.0
"""How much the stretch may change from one corner to the next, in metres. Fitted with LATTICE_M on maps made of the
drafts of six scenes and of bc_forest, put off by a shift and waves of 2 m (1.5 leaves 0.86 m of them, 3.0 0.66 m)."""
WHOLE_M = 10.0
"""How far the stretch of a corner may lie from the shift of the whole map, in metres; holds where nothing is seen."""
REACHES_M = (12.0, 10.0, 8.0, 7.0, 6.0, 6.0, 6.0, 6.0)
"""How far off the same thing is looked for, round by round, in metres (our choice)."""
LEAST_OBSERVATIONS, LEAST_SHARE = 15.0, 0.2
"""Fewer places that are found again, or a smaller share of those of the map that the draft has the kind of, tell
nothing (our choice)."""
MOST_SOLVED = 4000
"""With more unknowns errors of single corners are not worked out, for want of memory."""


@dataclass(frozen=True)
class Stretch:
    """How a map lies beside lidar.

    Attributes
    ----------
    shift : the mean over the places found again, with its standard error; `how` in words
    corner : (2,) east, north of the south-west corner of the lattice
    off : (rows, cols, 2) what is to be added to a place at each corner, metres
    error_m : (rows, cols) standard error of it, the larger of the two; NaN where it was not worked out
    places : (n, 2) places of the map that were found again
    before_m, after_m : median distance of these from the draft, as given and as laid
    """

    shift: Shift
    corner: Numbers
    off: Numbers
    error_m: Numbers
    places: Numbers
    before_m: float
    after_m: float

    @property
    def is_found(self) -> bool:
        """Whether enough of the map was found again."""
        return self.shift.is_found

    def laid(self, shapes: NDArray[np.object_], /) -> NDArray[np.object_]:
        """Geometries where they lie in the frame of the new survey, for comparing."""
        if not self.is_found:
            return shapes
        moved = shapely.transform(shapes, lambda places: places + off_at(self.off, self.corner, places))
        return np.asarray(moved, object)


def off_at(off: Numbers, corner: Numbers, places: Numbers, /) -> Numbers:
    """(n, 2) the stretch at places, linear between the corners of the lattice and level beyond them."""
    node, share = _corners(places, corner, (off.shape[0], off.shape[1]))
    found: Numbers = (off.reshape(-1, 2)[node] * share[..., None]).sum(axis=1)
    return found


def _corners(places: Numbers, corner: Numbers, shape: tuple[int, int]) -> tuple[NDArray[np.intp], Numbers]:
    """(n, 4) numbers of the corners around each place, and how much of each it has."""
    rows, cols = shape
    at = (places - corner) / LATTICE_M
    east, north = np.clip(at[:, 0], 0, cols - 1), np.clip(at[:, 1], 0, rows - 1)
    col, row = np.minimum(east.astype(int), cols - 2), np.minimum(north.astype(int), rows - 2)
    u, v = east - col, north - row
    node = np.stack(
        [row * cols + col, row * cols + col + 1, (row + 1) * cols + col, (row + 1) * cols + col + 1], axis=1
    )
    share = np.stack([(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v], axis=1)
    return node, share


def find_stretch(old: gpd.GeoDataFrame, new: gpd.GeoDataFrame, /) -> Stretch:
    """How a finished map lies beside a draft of the same ground.

    Parameters
    ----------
    old, new : single geometries with `symbol`, in one CRS
    """
    mine, theirs = _on_ground_of(new, places_of(old)), places_of(_near(new, old))
    corner, shape = _lattice(mine)
    off = np.zeros((*shape, 2))
    comparable = float(mine.weight[np.isin(mine.kind, np.unique(theirs.kind))].sum())
    if comparable < LEAST_OBSERVATIONS:
        return _nothing("the map and the draft have hardly a line or point of the same kind", corner, off)
    off += _voted(mine, theirs)
    error_m = np.full(shape, np.nan)
    pairs, good = Pairs(np.empty(0, np.intp), np.empty((0, 2)), np.empty((0, 2))), np.empty(0)
    for reach_m in REACHES_M:
        laid = mine.at + off_at(off, corner, mine.at)
        pairs = find_pairs(mine, laid, theirs, reach_m=reach_m)
        if not len(pairs.place):
            break
        off, error_m, good = _fitted(mine, pairs, off, corner)
    found = float((mine.weight[pairs.place] * good).sum()) if len(good) else 0.0
    if found < max(LEAST_OBSERVATIONS, LEAST_SHARE * comparable):
        share = found / max(comparable, 1.0)
        return _nothing(
            f"only {share:.0%} of the map's lines and points have one like them in the draft", corner, off * 0
        )
    return _told(mine, theirs, pairs, good, (off, error_m, corner))


def _on_ground_of(new: gpd.GeoDataFrame, places: Places) -> Places:
    """The places of a map on the ground of the draft: a map that reaches beyond the new tiles fits no worse there."""
    ground = shapely.convex_hull(shapely.union_all(shapely.envelope(new.geometry.to_numpy()))).buffer(FARTHEST_M)
    return places.only(np.asarray(shapely.contains_xy(ground, *places.at.T), np.bool_))


def _near(new: gpd.GeoDataFrame, old: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    west, south, east, north = old.total_bounds
    reach_m = 2 * FARTHEST_M
    return new[new.intersects(shapely.box(west - reach_m, south - reach_m, east + reach_m, north + reach_m))]


def _nothing(why: str, corner: Numbers, off: Numbers) -> Stretch:
    nan = float("nan")
    shift = Shift(how=f"not found: {why}; compared as it lies")
    return Stretch(shift, corner, off, np.full(off.shape[:2], nan), np.empty((0, 2)), nan, nan)


def _lattice(places: Places) -> tuple[Numbers, tuple[int, int]]:
    """South-west corner, and rows and columns, of a lattice over all places."""
    if not len(places):
        return np.zeros(2), (2, 2)
    low, high = places.at.min(axis=0), places.at.max(axis=0)
    corner = np.floor(low / LATTICE_M) * LATTICE_M
    cols, rows = (np.ceil((high - corner) / LATTICE_M).astype(int) + 1).clip(2)
    return corner, (int(rows), int(cols))


def _voted(mine: Places, theirs: Places) -> Numbers:
    """(2,) the shift that most places agree on. Votes of a place add up to its weight, whatever lies around it."""
    n = int(2 * FARTHEST_M / VOTE_CELL_M) + 1
    votes = np.zeros((n, n))
    for kind in np.intersect1d(np.unique(mine.kind), np.unique(theirs.kind)):
        first, second = np.flatnonzero(mine.kind == kind), np.flatnonzero(theirs.kind == kind)
        tree = cKDTree(theirs.at[second])
        near = cast("list[list[int]]", list(tree.query_ball_point(mine.at[first], FARTHEST_M)))
        count = np.array([len(each) for each in near])
        a = np.repeat(first, count)
        b = second[np.concatenate([np.array(each, np.intp) for each in near])] if count.sum() else np.empty(0, np.intp)
        turn = np.abs((mine.way[a] * theirs.way[b]).sum(axis=1))
        is_alike = (turn >= MOST_TURN_TO_VOTE) | (np.abs(mine.way[a]).sum(axis=1) == 0)
        a, b = a[is_alike], b[is_alike]
        total = np.bincount(a, minlength=len(mine))
        weight = mine.weight[a] / np.maximum(total[a], 1) / mine.error_m[a]
        cell = np.round((theirs.at[b] - mine.at[a] + FARTHEST_M) / VOTE_CELL_M).astype(int).clip(0, n - 1)
        np.add.at(votes, (cell[:, 1], cell[:, 0]), weight)
    smooth = ndimage.gaussian_filter(votes, VOTE_SIGMA, mode="constant")
    row, col = np.unravel_index(int(np.argmax(smooth)), smooth.shape)
    return np.array([col, row]) * VOTE_CELL_M - FARTHEST_M


def _fitted(mine: Places, pairs: Pairs, off: Numbers, corner: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """The lattice after one round, the error of its corners, and (k,) how well each pair fits, 0 to 1."""
    shape = (off.shape[0], off.shape[1])
    node, share = _corners(mine.at[pairs.place], corner, shape)
    now = (off.reshape(-1, 2)[node] * share[..., None]).sum(axis=1)
    is_line = np.abs(pairs.across).sum(axis=1) > 0
    axes = np.repeat(np.eye(2)[None], len(is_line), axis=0)  # a point tells of both directions
    axes[is_line, 0], axes[is_line, 1] = pairs.across[is_line], 0.0  # a line only of the one across it
    wanted = ((now + pairs.off)[:, None, :] * axes).sum(axis=2)
    residual = np.where(is_line, np.abs((pairs.off * pairs.across).sum(axis=1)), np.hypot(*pairs.off.T))
    scaled = residual / mine.error_m[pairs.place]
    spread = max(1.0, float(np.median(scaled)) / 0.6745)
    good = biweight(scaled / spread)
    weight = good * mine.weight[pairs.place] / (mine.error_m[pairs.place] * spread) ** 2
    return (*_solved(node, share, axes, wanted, weight, off), good)


def _solved(
    node: NDArray[np.intp], share: Numbers, axes: Numbers, wanted: Numbers, weight: Numbers, off: Numbers
) -> tuple[Numbers, Numbers]:
    """Least squares for the corners: what the pairs ask, and that neighbours and the whole differ little."""
    rows, cols = off.shape[:2]
    n = rows * cols
    k = len(node)
    columns, values, lines = [], [], []
    for axis in (0, 1):
        for east in (0, 1):
            lines.append(np.repeat(np.arange(k) + axis * k, 4))
            columns.append((node * 2 + east).ravel())
            values.append((share * axes[:, axis, east][:, None]).ravel())
    data = sparse.csr_matrix(
        (np.concatenate(values), (np.concatenate(lines), np.concatenate(columns))), shape=(2 * k, 2 * n)
    )
    w = np.concatenate([weight, weight])
    mean = _mean_shift(axes, wanted, weight)
    smooth = _neighbours(rows, cols)
    normal = data.T @ sparse.diags(w) @ data + smooth.T @ smooth / CHANGE_M**2 + sparse.identity(2 * n) / WHOLE_M**2
    right = data.T @ (w * wanted.T.ravel()) + np.tile(mean, n) / WHOLE_M**2
    solver = splu(normal.tocsc())
    found = solver.solve(right).reshape(rows, cols, 2)
    if 2 * n > MOST_SOLVED:
        return found, np.full((rows, cols), np.nan)
    error = np.sqrt(np.diag(solver.solve(np.eye(2 * n)))).reshape(rows, cols, 2).max(axis=2)
    return found, error


def _mean_shift(axes: Numbers, wanted: Numbers, weight: Numbers) -> Numbers:
    """(2,) the one shift that fits best."""
    normal = np.einsum("k,kai,kaj->ij", weight, axes, axes) + np.eye(2) * 1e-6
    found: Numbers = np.linalg.solve(normal, np.einsum("k,kai,ka->i", weight, axes, wanted))
    return found


def _neighbours(rows: int, cols: int) -> sparse.csr_matrix:
    """Differences of neighbouring corners, east and north each."""
    number = np.arange(rows * cols).reshape(rows, cols)
    first = np.concatenate([number[:, :-1].ravel(), number[:-1].ravel()])
    second = np.concatenate([number[:, 1:].ravel(), number[1:].ravel()])
    m = len(first)
    one = sparse.csr_matrix(
        (np.repeat([1.0, -1.0], m), (np.tile(np.arange(m), 2), np.concatenate([first, second]))), shape=(m, rows * cols)
    )
    return sparse.csr_matrix(sparse.kron(one, sparse.identity(2)))


def _told(mine: Places, theirs: Places, pairs: Pairs, good: Numbers, fit: tuple[Numbers, Numbers, Numbers]) -> Stretch:
    """The stretch with what is to be said of it."""
    off, error_m, corner = fit
    used = pairs.place[good > 0]
    at = mine.at[used]
    mean = np.average(off_at(off, corner, at), axis=0, weights=mine.weight[used] * good[good > 0])
    before, after = (
        find_pairs(mine, laid, theirs, reach_m=FARTHEST_M) for laid in (mine.at, mine.at + off_at(off, corner, mine.at))
    )
    there = off_at(np.repeat(error_m[..., None], 2, axis=2), corner, at)[:, 0]
    error = float(np.median(there)) if np.isfinite(there).all() else CHANGE_M
    n = float((mine.weight[pairs.place] * good).sum())
    how = (
        f"from about {n:,.0f} independent places on lines and points that the map and the draft both show; stretched "
        f"locally by up to {np.hypot(*(off_at(off, corner, at) - mean).T).max():.1f} m beyond that"
    )
    shift = Shift(float(mean[0]), float(mean[1]), 0.0, error, error, float("nan"), how)
    return Stretch(shift, corner, off, error_m, at, _median_m(before, used), _median_m(after, used))


def _median_m(pairs: Pairs, used: NDArray[np.intp]) -> float:
    """Median distance of places from what the draft shows, across lines, of those that were found again."""
    is_used = np.isin(pairs.place, used)
    if not is_used.any():
        return float("nan")
    off, across = pairs.off[is_used], pairs.across[is_used]
    is_line = np.abs(across).sum(axis=1) > 0
    return float(np.median(np.where(is_line, np.abs((off * across).sum(axis=1)), np.hypot(*off.T))))


def by_square(stretch: Stretch, /, *, side_m: float = 250.0) -> list[dict[str, float]]:
    """For squares with places that were found again: how far the map is off there and how sure that is."""
    if not stretch.is_found:
        return []
    square = np.floor(stretch.places / side_m).astype(int)
    found = []
    for col, row in np.unique(square, axis=0):
        at = stretch.places[(square == (col, row)).all(axis=1)]
        mean = off_at(stretch.off, stretch.corner, at).mean(axis=0)
        error = off_at(np.repeat(stretch.error_m[..., None], 2, axis=2), stretch.corner, at)[:, 0].mean()
        found.append(
            {
                "east_m": float(col * side_m),
                "north_m": float(row * side_m),
                "side_m": side_m,
                "off_east_m": round(float(mean[0]), 2),
                "off_north_m": round(float(mean[1]), 2),
                "error_m": round(float(error), 2) if np.isfinite(error) else float("nan"),
                "places": float(len(at)),
            }
        )
    return found
