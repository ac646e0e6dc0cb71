"""Flight lines: how far they lie apart is found and taken out."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.points.levelling import LineShift, find_levelling, levelled, line_cells, line_shifts
from pipeline.returns.cloud import Cloud
from tests.terrain_clouds import Earth, Numbers, returns_from, slope_of

SIDE_M = 120.0


def hills(east: Numbers, north: Numbers) -> Numbers:
    """Ground with slopes to every side, up to 0.5."""
    return 100 + 6 * np.sin(east / 12) * np.cos(north / 14)


def flown(earth: Earth, moved: dict[int, tuple[float, float, float]]) -> Cloud:
    """Ground returns of several lines over the whole of a square; each line is moved east, north and up."""
    parts = []
    for line, (east_m, north_m, up_m) in moved.items():
        enh = returns_from(earth, SIDE_M, per_m2=3)
        turned = np.random.default_rng(line).permutation(len(enh))
        enh = np.column_stack((enh[:, :2], earth(enh[:, 0], enh[:, 1]) + 0.03 * np.sin(turned)))
        enh[:, :2] = (enh[:, :2] + 17.3 * line) % SIDE_M
        enh[:, 2] = earth(enh[:, 0], enh[:, 1]) + 0.03 * np.sin(turned)
        lines = np.full(len(enh), line, np.uint16)
        parts.append(Cloud.of(enh + np.array([east_m, north_m, up_m]), flight_line=lines))
    return Cloud.join(parts)


def test_two_lines_are_brought_together_in_height_and_plan() -> None:
    """What lines differ by is found to 1 cm in height and 3 cm in plan, and shared between them."""
    cloud = flown(hills, {7: (0.15, -0.1, 0.06), 9: (-0.15, 0.1, -0.06)})
    found = {shift.line: shift for shift in line_shifts(line_cells(cloud.enh, cloud.flight_line))}
    assert found[7].up_m == pytest.approx(-0.06, abs=0.01)
    assert found[9].up_m == pytest.approx(0.06, abs=0.01)
    assert (found[9].east_m, found[9].north_m) == pytest.approx((0.15, -0.1), abs=0.03)
    assert (found[7].east_m, found[7].north_m) == pytest.approx((-0.15, 0.1), abs=0.03)


def test_lines_in_a_row_are_levelled_through_each_other() -> None:
    """Three lines, each a decimetre above the last: the middle one stays, the others come to it."""
    cloud = flown(hills, {1: (0, 0, -0.1), 2: (0, 0, 0), 3: (0, 0, 0.1)})
    found = [shift.up_m for shift in line_shifts(line_cells(cloud.enh, cloud.flight_line))]
    assert found == pytest.approx([0.1, 0, -0.1], abs=0.01)


def test_level_ground_tells_no_shift_in_plan() -> None:
    """On a level field the height is found and the plan left alone, however far the lines lie apart in it."""
    cloud = flown(slope_of(0.0), {1: (0.3, 0, 0.05), 2: (-0.3, 0, -0.05)})
    shifts = line_shifts(line_cells(cloud.enh, cloud.flight_line))
    assert [shift.up_m for shift in shifts] == pytest.approx([-0.05, 0.05], abs=0.01)
    assert [(shift.east_m, shift.north_m) for shift in shifts] == [(0.0, 0.0), (0.0, 0.0)]


def test_levelling_says_what_was_and_what_is_left() -> None:
    """Median step between the lines: 12 cm and more as flown, 2 cm and less once levelled."""
    cloud = flown(hills, {1: (0.1, 0, 0.06), 2: (-0.1, 0, -0.06)})
    found = find_levelling(line_cells(cloud.enh, cloud.flight_line))
    assert found.before_m > 0.1
    assert found.after_m < 0.02
    again = levelled(cloud, found.shifts)
    assert find_levelling(line_cells(again.enh, again.flight_line)).before_m < 0.02


def test_one_line_stays_where_it_is() -> None:
    """Nothing to compare with: no shift, and the cloud is the one given."""
    cloud = flown(hills, {4: (0, 0, 0)})
    found = find_levelling(line_cells(cloud.enh, cloud.flight_line))
    assert found.shifts == ()
    assert found.n_cells == 0
    assert levelled(cloud, found.shifts) is cloud


def test_only_the_line_with_a_shift_moves() -> None:
    """Each return moves with its line, by the shift given."""
    cloud = Cloud.of(np.zeros((3, 3)), flight_line=np.array([1, 2, 1], np.uint16))
    moved = levelled(cloud, [LineShift(2, 0.5, -0.25, 0.125)])
    assert moved.enh.tolist() == [[0, 0, 0], [0.5, -0.25, 0.125], [0, 0, 0]]
