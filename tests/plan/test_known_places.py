"""Where the points of a tile are is looked at once, and not in every run."""

from pathlib import Path

import pytest

from pipeline.files.las.tiles import points_bounds
from pipeline.plan import plan as plans
from tests.made_tiles import made_tile
from tests.runs import write_area


def test_points_are_looked_at_again_only_for_new_tiles_and_by_new_code(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The table of tiles is the same either way."""
    made_tile(tmp_path / "a.laz", n=2000, side=100.0)
    area = write_area(tmp_path, f"{tmp_path}/*.laz")
    first = plans.plan_run(area).intake
    looked: list[str] = []
    monkeypatch.setattr(
        "pipeline.files.intake.points_bounds", lambda header: looked.append(header.path.name) or points_bounds(header)
    )
    assert plans.make_plan(area).intake == first
    assert looked == []
    made_tile(tmp_path / "b.laz", n=1500, side=100.0, seed=2)
    plans.make_plan(area)
    assert looked == ["b.laz"]
    monkeypatch.setattr(plans, "_read_by", lambda: "other code")
    plans.make_plan(area)
    assert looked == ["b.laz", "a.laz", "b.laz"]
