"""What another base level would show, counted in all fields."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from pipeline.files import arrays
from pipeline.files.disk import atomic
from pipeline.landform.contours.base_level import LevelCount, describe_base_levels, propose_base_level
from pipeline.settings import LandformSettings


def base_level(*, counts: Path, plan: Path, out: Path, settings: LandformSettings) -> None:
    """Write which base levels show most of the hills, hollows and saddles of the area."""
    names = cast("dict[str, object]", arrays.read_json(plan)["fields"])
    found: list[LevelCount] = []
    for name in names:
        rows = cast("list[dict[str, float]]", arrays.read_json(counts / f"{name}.json")["counts"])
        found += [
            LevelCount(row["offset_m"], int(row["n_hills"]), int(row["n_hollows"]), int(row["n_necks"])) for row in rows
        ]
    atomic.write_text(out, describe_base_levels(propose_base_level(found), in_use_m=settings.base_level_m))
