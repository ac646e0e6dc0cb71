"""PDAL as the engine of the ground filter: what it is asked to do, and what its answer means.

PDAL is run through its command line by `pipeline.files.pdal`; here are only the pipeline as JSON and the reading of the
numbers that come back.
"""

from __future__ import annotations

import json
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SurveyError
from pipeline.lattice.grid import Mask
from pipeline.points.ground.lowest import GROUND_CELL_M
from pipeline.points.ground.objects import FIRST_SLOPE
from pipeline.returns.asprs import GROUND

SMRF_THRESHOLD_M = 0.5
"""Distance from SMRF's surface, in metres, within which a return on level ground is ground; the one set of figures for
all samples of Pingel et al. 2013."""
SMRF_SCALAR_M = 1.25
"""Metres that this distance grows by for each metre of rise over run; from the same set of Pingel et al. 2013."""


def ground_pipeline(source: str, target: str, /, *, pdal_filter: Literal["smrf", "pmf"], window_m: float) -> str:
    """JSON of a PDAL pipeline that reads `source`, classifies the ground and writes `target`.

    SMRF (Pingel et al. 2013, doi:10.1016/j.isprsjprs.2012.12.002) gets the cells, the window and the slope of the
    embedded filter. The progressive morphological filter (Zhang et al. 2003, doi:10.1109/TGRS.2003.810682) runs with
    PDAL's defaults.

    Parameters
    ----------
    window_m : float
        Half the width of the widest object to take off the ground.
    """
    smrf = {
        "type": "filters.smrf",
        "cell": GROUND_CELL_M,
        "window": window_m,
        "slope": FIRST_SLOPE,
        "threshold": SMRF_THRESHOLD_M,
        "scalar": SMRF_SCALAR_M,
    }
    chosen = smrf if pdal_filter == "smrf" else {"type": "filters.pmf"}
    writer = {"type": "writers.las", "filename": target, "minor_version": 2, "dataformat_id": 1}
    return json.dumps([{"type": "readers.las", "filename": source}, chosen, writer], indent=1)


def ground_from_answer(index: NDArray[np.float64], asprs_class: NDArray[np.uint8], /, *, is_candidate: Mask) -> Mask:
    """(n,) bool: ground, from the classes PDAL gave to the candidates.

    Parameters
    ----------
    index : (m,) float64
        Which candidate each returned record is (PDAL may reorder them).
    asprs_class : (m,) uint8
    is_candidate : (n,) bool

    Raises
    ------
    SurveyError
        If PDAL gave back more, fewer or other returns than it was given.
    """
    order = np.rint(index).astype(np.int64)
    given = np.flatnonzero(is_candidate)
    if not np.array_equal(np.sort(order), np.arange(len(given))):
        raise SurveyError(
            f"PDAL was given {len(given)} returns and gave back {len(order)} or others. "
            "Set points.engine to embedded, or use another PDAL version."
        )
    ground = np.zeros(len(is_candidate), np.bool_)
    ground[given[order[asprs_class == GROUND]]] = True
    return ground
