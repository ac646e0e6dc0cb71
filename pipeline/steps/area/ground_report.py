"""Where the producer's ground and ours differ, counted in all blocks."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from pipeline.files import arrays
from pipeline.files.disk import atomic
from pipeline.survey.disputes import DisputedSquare, describe_disputes


def ground_report(*, disputes: Path, plan: Path, survey: Path, out: Path) -> None:
    """Write where the producer's ground and ours lie far apart, and which was taken.

    `disputes` is the folder of what the blocks counted; `survey`, its figures, say whether any ground was marked.
    """
    found: list[DisputedSquare] = []
    for name in cast("list[str]", arrays.read_json(plan)["blocks"]):
        rows = cast("list[dict[str, int]]", arrays.read_json(disputes / f"{name}.json")["squares"])
        found += [DisputedSquare(**row) for row in rows]
    marked_per_m2 = cast("dict[str, float]", arrays.read_json(survey)["density"])["class_ground_per_m2"]
    atomic.write_text(out, describe_disputes(found, is_marked=marked_per_m2 > 0))
