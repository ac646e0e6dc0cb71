"""What share of the boulders a draft finds, by how dense the survey is and how much of it the crowns keep."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy  # its parts take long to import and come when they are first used, in most runs never
from numpy.typing import NDArray

from pipeline.errors import SettingsError


@dataclass(frozen=True)
class RecallTable:
    """Share of boulders found, measured by planting boulders of known place and size.

    Attributes
    ----------
    pulses_per_m2 : (p,) float64, rising
    canopy_share : (c,) float64, rising
        Share of the pulses that crowns stop.
    recall_204, recall_205 : (p, c) float64
        Of boulders of 1 to 2 m, and of higher ones (ISOM 2017-2, 204 and 205).
    """

    pulses_per_m2: NDArray[np.float64]
    canopy_share: NDArray[np.float64]
    recall_204: NDArray[np.float64]
    recall_205: NDArray[np.float64]

    def expected(self, pulses_per_m2: float, canopy_share: float, /) -> tuple[float, float]:
        """Share of the boulders of 1 to 2 m, and of the higher ones, to expect.

        Linear in the logarithm of the density and in the share; level beyond the table, but falling to nothing in
        proportion below its least density.
        """
        dense = float(np.clip(pulses_per_m2, self.pulses_per_m2[0], self.pulses_per_m2[-1]))
        share = float(np.clip(canopy_share, self.canopy_share[0], self.canopy_share[-1]))
        thinner = min(max(pulses_per_m2, 0.0) / float(self.pulses_per_m2[0]), 1.0)
        axes = (np.log(self.pulses_per_m2), self.canopy_share)
        low, high = (
            float(scipy.interpolate.RegularGridInterpolator(axes, table)((np.log(dense), share))) * thinner
            for table in (self.recall_204, self.recall_205)
        )
        return low, high


def recall_table(record: Mapping[str, object], /) -> RecallTable:
    """The table of a record such as `config/boulder_recall.json` holds: rows of density, canopy, symbol and recall.

    Raises
    ------
    SettingsError
        If rows are missing or do not fill the table.
    """
    rows = record.get("rows")
    try:
        cells = {
            (float(row["pulses_per_m2"]), float(row["canopy_share"]), str(row["symbol"])): float(row["recall"])
            for row in (rows if isinstance(rows, list) else [])
        }
        dense, share = (np.array(sorted({key[axis] for key in cells}), np.float64) for axis in (0, 1))
        low, high = (np.array([[cells[p, c, symbol] for c in share] for p in dense]) for symbol in ("204", "205"))
    except (KeyError, TypeError, ValueError) as error:
        raise SettingsError(f"the table of boulder recall has a gap or no number: {error}") from error
    if low.ndim != 2 or min(low.shape) < 2:
        raise SettingsError("the table of boulder recall needs at least two densities and two canopies.")
    return RecallTable(dense, share, low, high)
