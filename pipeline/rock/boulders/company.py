"""What stands around a boulder: lumps that look half like boulders make it less likely, likely boulders more.

A forest floor of boughs, stumps and brash throws up lumps of every likeness, so the few that look most like rock are
the tail of many that are none; and boulders come in numbers where there is rock, and hardly at all where there is none.
The log odds of the returns are therefore moved by how many of both there are a hectare, which is the prior of empirical
Bayes (Robbins 1956, Third Berkeley Symposium 1, 157-163).
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Grid, Mask
from pipeline.lattice.per_cell import count_in_cells
from pipeline.norm.symbols import isom
from pipeline.rock.boulders.low_returns import Floats
from pipeline.rock.boulders.trees import boulder_trees

FEWEST_BOULDERS_PER_HA = 2.0
"""Likely boulders a hectare that are added to every count, so that one lone boulder is no proof of a second (our
choice). A new figure needs a new fit of the odds."""
FEWEST_PER_HA = 100.0
"""Lookalikes a hectare that are added to every count: a thicket, with 90 to 180, is to count against a boulder, and
clean or restless ground, with 5 to 60, hardly (our choice). A new figure needs a new fit of the odds."""


def in_company(boulders: gpd.GeoDataFrame, known: Mask, grid: Grid, /) -> gpd.GeoDataFrame:
    """The candidates with the probability that each is a boulder, given what stands around it.

    Parameters
    ----------
    boulders : GeoDataFrame
        Every candidate of the area, as `pipeline.rock.boulders.boulders.find_boulders` gives them.
    known : (rows, cols) bool
        Where the survey saw anything, so that its edge does not pass for emptiness.

    Returns
    -------
    GeoDataFrame with the columns given, `confidence` and `evidence` renewed, and lookalikes_per_ha.
    """
    table = boulders.copy()
    around, likely = lookalikes_per_ha(boulders, known, grid), boulders_per_ha(boulders, known, grid)
    likeness = np.clip(boulders.confidence.to_numpy(np.float64), 1e-6, 1 - 1e-6)
    company = boulder_trees().company
    weights = (company.offset, company.stretch, company.per_log_lookalikes, company.per_log_boulders)
    odds = company_terms(np.log(likeness / (1 - likeness)), around, likely) @ np.array(weights)
    table["confidence"] = 1 / (1 + np.exp(-odds))
    table["lookalikes_per_ha"] = around
    table["evidence"] = [
        f"{text}; {n:.0f} lumps a hectare around look half like boulders, {m:.0f} more than half"
        for text, n, m in zip(boulders.evidence, around, likely, strict=True)
    ]
    return table


def company_terms(odds: Floats, lookalikes: Floats, likely: Floats, /) -> Floats:
    """(k, 4) what the log odds of a boulder among others weigh: 1, its own log odds, lookalikes, likely boulders."""
    crowd, near = np.log(lookalikes + FEWEST_PER_HA), np.log(likely + FEWEST_BOULDERS_PER_HA)
    return np.column_stack((np.ones(len(odds)), odds, crowd, near))


LOOKALIKE_MOST_CONFIDENCE = 0.25
"""Lumps with a lower confidence from their returns alone count as lookalikes; higher, true boulders would be counted
against their neighbours (our choice; the odds are fitted with it)."""
COMPANY_REACH_M = 25.0
"""Sigma of the bell over which lookalikes are counted: as wide as a stand of trees, so that no single bush decides."""
CELL_M = 5.0
"""Side of the cells in which lumps are counted: a fifth of the reach, so that the bell is well drawn."""


BOULDERS_REACH_M = 40.0
"""Sigma of the bell over which likely boulders are counted: they are few, so that a smaller one holds none (our
choice)."""


def lookalikes_per_ha(boulders: gpd.GeoDataFrame, known: Mask, grid: Grid, /) -> Floats:
    """(k,) lumps around each candidate, itself left out, that look a little like boulders and most likely are none.

    Counted under a bell of `COMPANY_REACH_M`, and divided by the part of its area that the survey saw.
    """
    is_one = boulders.confidence.to_numpy() < LOOKALIKE_MOST_CONFIDENCE
    return _per_ha(boulders, is_one.astype(np.float64), known, grid, COMPANY_REACH_M)


def boulders_per_ha(boulders: gpd.GeoDataFrame, known: Mask, grid: Grid, /) -> Floats:
    """(k,) boulders to be expected around each candidate, itself left out: likely ones, each as much as it is likely.

    Counted under a bell of `BOULDERS_REACH_M`, and divided by the part of its area that the survey saw.
    """
    sure = boulders.confidence.to_numpy(np.float64)
    return _per_ha(boulders, np.where(sure >= LOOKALIKE_MOST_CONFIDENCE, sure, 0.0), known, grid, BOULDERS_REACH_M)


def _per_ha(boulders: gpd.GeoDataFrame, counts: Floats, known: Mask, grid: Grid, reach_m: float) -> Floats:
    """(k,) sum of what the candidates around each count for, itself left out, per hectare that was seen."""
    coarse = Grid.covering(grid.bounds, cell_m=CELL_M, crs=grid.crs)
    cell = coarse.cell_index(boulders.geometry.x.to_numpy(), boulders.geometry.y.to_numpy())
    row, col = np.nonzero(known)
    east, north = grid.centres()
    sigma = reach_m / CELL_M
    inside = cell >= 0
    count = np.zeros(coarse.rows * coarse.cols)
    np.add.at(count, cell[inside], counts[inside])
    lumps = _blurred(count.reshape(coarse.shape), sigma)
    seen = count_in_cells(coarse.cell_index(east[col], north[row]), coarse.shape).astype(np.float64)
    seen_m2 = _blurred(seen, sigma) * grid.cell_m**2
    per_cell = np.clip(lumps.ravel()[cell] - counts / (2 * np.pi * sigma**2), 0, None)
    # At least a tenth of a bell: a candidate at the very corner of a survey is not to count as a crowd.
    found: Floats = 1e4 * per_cell / np.maximum(seen_m2.ravel()[cell], 0.1 * CELL_M**2)
    return np.where(inside, found, 0.0)


CUT_SIGMA = 3.0
"""How far the bell reaches, in sigmas; beyond three of them next to nothing is left of it."""


def _blurred(count: Floats, sigma: float) -> Floats:
    """(rows, cols) what is counted in the cells, spread over a bell of `sigma` cells."""
    blurred: Floats = ndimage.gaussian_filter(count, sigma, mode="constant", truncate=CUT_SIGMA)
    return blurred


HEIGHT_ERROR_M = 0.1
"""A lump measured this much below the least height of the norm is still drawn: one height in ten is measured as much
too low (in made scenes), and a boulder of a metre is worth a look."""
OPEN_LOOKALIKES_PER_HA, THICKET_LOOKALIKES_PER_HA = 20.0, 100.0
"""Lookalikes a hectare up to which forest counts as clean, and from which it counts as a thicket: clean forest shows 5
to 20, dense conifers 90 to 180 (measured)."""


def worth_drawing(
    boulders: gpd.GeoDataFrame, /, *, least_confidence: float, least_thicket_confidence: float
) -> gpd.GeoDataFrame:
    """The boulders of `in_company` that are high and sure enough for the draft.

    In a thicket there are many lookalikes to every boulder, so that with the limit of clean forest most dots would be
    wrong; between clean forest and thicket the limit changes linearly in the logarithm of the number of lookalikes.
    """
    crowd = np.log(np.maximum(boulders.lookalikes_per_ha.to_numpy(np.float64), 1e-3))
    band = np.log([OPEN_LOOKALIKES_PER_HA, THICKET_LOOKALIKES_PER_HA])
    limits = (least_confidence, least_thicket_confidence)
    is_sure = boulders.confidence.to_numpy() >= np.interp(crowd, band, limits)
    least_m = isom("204").smallest.height_m - HEIGHT_ERROR_M
    chosen = boulders[is_sure & (boulders.height_m.to_numpy() >= least_m)]
    return chosen.drop(columns="lookalikes_per_ha")
