"""Headings in the columns beside the map."""

from __future__ import annotations

from pipeline.sheet.marginalia import headed, heading, note
from pipeline.sheet.page.page import flow


def test_no_column_ends_with_a_heading() -> None:
    """Where only the heading would fit under a paragraph, it goes to the next column with its first paragraph."""
    before, below = note("Above.", width_mm=60), note("Below.", width_mm=60)
    room = before.height_mm + heading("Caution").height_mm + below.height_mm / 2
    items = [before, *headed("Caution", [below])]
    assert flow([item.height_mm for item in items], room) == [[0], [1]]
    assert sum(item.height_mm for item in items[1:]) == heading("Caution").height_mm + below.height_mm
