"""PDAL as the engine of the ground filter: what it is asked to do, and what its answer means.

PDAL is run through its command line by `pipeline.files.pdal`; here are only the pipeline as JSON and the reading of the
numbers that come back.
"""

from __future__ import annotations

import json

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import SurveyError
from pipeline.lattice.grid import Mask
from pipeline.returns.asprs import GROUND
from pipeline.settings import PointsSettings

PDAL_THRESHOLD_M = 0.5
"""SMRF's tolerance on level ground: the single set of Pingel et al. 2013."""
PDAL_SCALAR_M = 1.25
"""SMRF's tolerance per rise over run: the single set of Pingel et al. 2013."""
GROUND_CELL_M = 1.0
"""Side of the cells whose lowest return starts the ground filter."""
GROUND_FIRST_SLOPE = 0.15
"""Rise over run a window may cut off at first sight (Pingel et al. 2013, one set for all)."""


def ground_pipeline(source: str, target: str, /, *, settings: PointsSettings) -> str:
    """JSON of a PDAL pipeline that reads `source`, classifies the ground and writes `target`.

    The settings of the embedded filter that mean the same are handed on to SMRF; tolerance and its growth with the
    slope are the single set of Pingel et al. (2013, doi:10.1016/j.isprsjprs.2012.12.002). The progressive
    morphological filter (Zhang et al. 2003, doi:10.1109/TGRS.2003.810682)
    runs with PDAL's defaults.
    """
    smrf = {
        "type": "filters.smrf",
        "cell": GROUND_CELL_M,
        "window": settings.ground_window_m,
        "slope": GROUND_FIRST_SLOPE,
        "threshold": PDAL_THRESHOLD_M,
        "scalar": PDAL_SCALAR_M,
    }
    chosen = smrf if settings.pdal_filter == "smrf" else {"type": "filters.pmf"}
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
