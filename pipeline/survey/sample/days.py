"""Days of flight from GPS times."""

from __future__ import annotations

import datetime

import numpy as np
from numpy.typing import NDArray

# Full GPS time counts seconds from here; adjusted GPS time is a thousand million seconds less (LAS 1.4 R15, table 7).
_GPS_EPOCH = datetime.datetime(1980, 1, 6)
_ADJUSTED_S = 1e9
_WEEK_S = 7 * 24 * 3600.0
# Adjusted times stay below this until 2033, full ones have been above it since 2002 (arithmetic).
_FULL_TIME_S = 7e8


def flight_days(times_s: NDArray[np.float64], /) -> tuple[datetime.date, ...]:
    """Days (UTC, but for the leap seconds) of GPS times; none where they are seconds of a week.

    Adjusted times lack 1e9 seconds since 6 January 1980; some files hold the full count (LAS 1.4 R15, table 7).
    """
    if len(times_s) == 0 or times_s.max() <= _WEEK_S:
        return ()
    full_s = np.where(times_s < _FULL_TIME_S, times_s + _ADJUSTED_S, times_s)
    days = np.unique(np.floor(full_s / 86400).astype(np.int64))
    return tuple((_GPS_EPOCH + datetime.timedelta(days=int(day))).date() for day in days)
