"""Notes with coordinates that cannot be meant: what is wrong with them is said in words."""

from __future__ import annotations

import re

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from pyproj import Transformer

from pipeline.vegetation.calibration import outside
from pipeline.vegetation.calibration.outside import inside, why_outside

CRS = "EPSG:25832"
AREA = shapely.box(565500, 5712000, 565800, 5712300)
NOTES = np.array([[565560.0, 5712240.0], [565655.0, 5712090.0], [565745.0, 5712180.0]])


def in_system(code: str) -> NDArray[np.float64]:
    """The notes as a program that works in another system writes them."""
    return np.column_stack(Transformer.from_crs(CRS, code, always_xy=True).transform(*NOTES.T))


def test_notes_in_the_area_are_inside() -> None:
    """A few metres outside count as inside; a kilometre does not, nor does no place at all."""
    assert inside(NOTES, AREA).all()
    beside = np.array([[565805.0, 5712100.0], [566800.0, 5712100.0], [np.inf, np.nan]])
    assert inside(beside, AREA).tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("place", "said"),
    [
        (NOTES[:, ::-1], "east and north are swapped"),
        (in_system("EPSG:4326"), "these are degrees"),
        (in_system("EPSG:4326")[:, ::-1], "the second of them being the longitude"),
        (in_system("EPSG:25833"), "UTM zone 33N"),
        (in_system("EPSG:3857"), "of web maps"),
        (NOTES + 50_000, r"70\.7 km from the middle"),
        (NOTES * np.nan, "no places on earth"),
    ],
)
def test_what_is_wrong_is_said(place: NDArray[np.float64], said: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each slip by its own words."""
    monkeypatch.setattr(outside, "MOST_SYSTEMS", 12)  # each takes time
    assert re.search(said, why_outside(place, AREA, CRS))


def test_swapped_degrees_are_seen_after_they_were_read() -> None:
    """Latitude read as longitude lands in another country; turned back it lies in the area."""
    read = np.column_stack(
        Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(*in_system("EPSG:4326")[:, ::-1].T)
    )
    assert "latitude and longitude are swapped" in why_outside(read, AREA, CRS)
