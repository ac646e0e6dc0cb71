"""How bright the ground of the survey is, and how many pulses come back: what no field can tell from itself alone."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path
from typing import cast

from pipeline.files import arrays, grid_files
from pipeline.rock.ground.brightness import COUNTS, REACH_OF_WINDOW_M, UsualGround, usual_ground

FIGURES = 3
"""Figures to which what is usual is written: a change in one corner of an area is then mostly none of what is usual in
it, and fields far from there are drawn again with no other result. Our choice."""


def usual_ground_of_area(*, counts: Path, out: Path) -> None:
    """Write what is usual in the area, found band by band; null where nothing is known."""
    whole, _ = grid_files.read_grid_of(counts)
    arounds = ((part.pad(REACH_OF_WINDOW_M), part) for part in whole.bands())
    clipped = ((whole.within(around.bounds), part) for around, part in arounds)
    found = usual_ground(
        ((grid_files.read_sums(counts, COUNTS, bounds=around.bounds), around, part) for around, part in clipped), whole
    )
    figures = {field.name: float(f"{getattr(found, field.name):.{FIGURES}g}") for field in fields(found)}
    arrays.write_json(out, {name: value if math.isfinite(value) else None for name, value in figures.items()})


def usual_of(content: Mapping[str, object], /) -> UsualGround:
    """What `usual_ground_of_area` wrote."""
    names = [field.name for field in fields(UsualGround)]
    return UsualGround(*(math.nan if content[name] is None else cast("float", content[name]) for name in names))
