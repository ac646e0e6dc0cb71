"""Where the producer's ground and ours differ, counted in all blocks."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from pipeline.files import arrays
from pipeline.files.disk import atomic
from pipeline.survey.disputes import DisputedSquare, describe_disputes


def ground_report(*, disputes: Path, plan: Path, out: Path) -> None:
    """Write where the producer's ground and ours lie far apart, and which was taken.

    `disputes` is the folder of what the blocks counted.
    """
    found: list[DisputedSquare] = []
    for name in cast("list[str]", arrays.read_json(plan)["blocks"]):
        rows = cast("list[dict[str, int]]", arrays.read_json(disputes / f"{name}.json")["squares"])
        found += [DisputedSquare(**row) for row in rows]
    atomic.write_text(out, describe_disputes(found))
