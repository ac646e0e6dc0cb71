"""What stands around a boulder: among many lumps that look half like boulders, a good one is less likely to be rock.

A forest floor of boughs, stumps and brash throws up lumps of every likeness, so the few that look most like rock are
the tail of many that are none. The log odds of the returns are therefore moved by how many such lumps there are a
hectare, which is the prior of empirical Bayes (Robbins 1956, Third Berkeley Symposium 1, 157-163).
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
from scipy import ndimage

from pipeline.lattice.grid import Grid, Mask
from pipeline.lattice.per_cell import count_in_cells
from pipeline.norm.symbols import isom
from pipeline.rock.boulders.low_returns import Floats, Labels
from pipeline.rock.boulders.trees import boulder_trees

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
    around = lookalikes_per_ha(boulders, known, grid)
    likeness = np.clip(boulders.confidence.to_numpy(np.float64), 1e-6, 1 - 1e-6)
    company = boulder_trees().company
    odds = company.offset + company.stretch * np.log(likeness / (1 - likeness))
    table["confidence"] = 1 / (1 + np.exp(-odds - company.per_log_lookalikes * np.log(around + FEWEST_PER_HA)))
    table["lookalikes_per_ha"] = around
    table["evidence"] = [
        f"{text}; {n:.0f} lumps a hectare around look half like boulders"
        for text, n in zip(boulders.evidence, around, strict=True)
    ]
    return table


LOOKALIKE_MOST_CONFIDENCE = 0.25
"""Lumps with a lower confidence from their returns alone count as lookalikes; higher, true boulders would be counted
against their neighbours (our choice; the odds are fitted with it)."""
COMPANY_REACH_M = 25.0
"""Sigma of the bell over which lookalikes are counted: as wide as a stand of trees, so that no single bush decides."""
CELL_M = 5.0
"""Side of the cells in which lumps are counted: a fifth of the reach, so that the bell is well drawn."""


def lookalikes_per_ha(boulders: gpd.GeoDataFrame, known: Mask, grid: Grid, /) -> Floats:
    """(k,) lumps around each candidate, itself left out, that look a little like boulders and most likely are none.

    Counted under a bell of `COMPANY_REACH_M`, and divided by the part of its area that the survey saw.
    """
    coarse = Grid.covering(grid.bounds, cell_m=CELL_M, crs=grid.crs)
    cell = coarse.cell_index(boulders.geometry.x.to_numpy(), boulders.geometry.y.to_numpy())
    is_one = (boulders.confidence.to_numpy() < LOOKALIKE_MOST_CONFIDENCE) & (cell >= 0)
    row, col = np.nonzero(known)
    east, north = grid.centres()
    sigma = COMPANY_REACH_M / CELL_M
    lumps = _blurred(cell[is_one], coarse, sigma)
    seen_m2 = _blurred(coarse.cell_index(east[col], north[row]), coarse, sigma) * grid.cell_m**2
    itself = is_one / (2 * np.pi * sigma**2)
    per_cell = np.clip(lumps.ravel()[cell] - itself, 0, None)
    # At least a tenth of a bell: a candidate at the very corner of a survey is not to count as a crowd.
    found: Floats = 1e4 * per_cell / np.maximum(seen_m2.ravel()[cell], 0.1 * CELL_M**2)
    return np.where(cell >= 0, found, 0.0)


CUT_SIGMA = 3.0
"""How far the bell reaches, in sigmas; beyond three of them next to nothing is left of it."""


def _blurred(cell: Labels, grid: Grid, sigma: float) -> Floats:
    """(rows, cols) how many places fall into each cell, spread over a bell of `sigma` cells."""
    count = count_in_cells(cell, grid.shape).astype(np.float64)
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

    In a thicket of lookalikes every boulder is doubtful, so less confidence is asked there; between clean forest and
    thicket the limit falls linearly in the logarithm of the number of lookalikes.
    """
    crowd = np.log(np.maximum(boulders.lookalikes_per_ha.to_numpy(np.float64), 1e-3))
    band = np.log([OPEN_LOOKALIKES_PER_HA, THICKET_LOOKALIKES_PER_HA])
    limits = (least_confidence, least_thicket_confidence)
    is_sure = boulders.confidence.to_numpy() >= np.interp(crowd, band, limits)
    least_m = isom("204").smallest.height_m - HEIGHT_ERROR_M
    chosen = boulders[is_sure & (boulders.height_m.to_numpy() >= least_m)]
    return chosen.drop(columns="lookalikes_per_ha")
