"""One plan serves the command and the Snakefile that it has read."""

from pathlib import Path

import pytest

from pipeline.plan import plan as plans
from tests.plan.made_plan import made_plan


def test_a_plan_that_is_handed_over_is_not_made_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its area gets it as long as it is handed over; a job, and another area, make their own."""
    made: list[Path] = []
    plan = made_plan(2)

    def planned(area_path: Path) -> plans.Plan:
        made.append(area_path)
        return plan

    monkeypatch.setattr(plans, "plan_run", planned)
    monkeypatch.setattr(plans, "make_plan", planned)
    with plans.handed_over(plan):
        assert plans.plan_or_exit(str(plan.area_path)) is plan
        assert made == []
        plans.plan_or_exit(str(plan.area_path), is_job=True)
        plans.plan_or_exit("/lidar/other.yaml")
    plans.plan_or_exit(str(plan.area_path))
    assert made == [plan.area_path, Path("/lidar/other.yaml"), plan.area_path]
