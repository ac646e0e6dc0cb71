"""What is read from a finished draft for the last words of a run."""

from __future__ import annotations

from pathlib import Path

import pytest
from shapely.geometry import Point

from pipeline.features import make_features
from pipeline.files.arrays import write_json
from pipeline.files.layers import write_layers
from pipeline.plan.plan import Plan, make_plan
from pipeline.steps.ending import ended_run
from tests.faults.test_command import small_tile
from tests.runs import write_area

CRS = "EPSG:25832"


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    """The plan of a tile whose draft holds boulders of each status and a sheet edge."""
    small_tile(tmp_path / "a.laz", crs=CRS, side_m=30.0)
    plan = make_plan(write_area(tmp_path, "a.laz"))
    boulders = make_features([Point(n, 0) for n in range(6)], crs=CRS, symbol="204", confidence=0.6, evidence="seen")
    boulders["status"] = ["draft", "draft", "imported", "candidate", "candidate", "rejected"]
    edge = make_features([Point(0, 0).buffer(9)], crs=CRS, symbol="600", confidence=1.0, evidence="edge")
    write_layers(plan.out / "draft.gpkg", {"rock_point": boulders, "technical_area": edge.assign(status="draft")})
    verdicts = [{"feature": "boulders", "grade": "poor"}, {"feature": "paths", "grade": "not possible"}]
    write_json(plan.out / "report" / "survey.json", {"extent": {"covered_m2": 900.0}, "verdicts": verdicts})
    write_json(plan.out / "work" / "decided.json", {"line_shifts": []})
    (plan.out / "report" / "ground.txt").write_text("They differ here and there.\nThere:\n  a\n", encoding="utf-8")
    return plan


def test_features_are_counted_by_what_the_map_does_with_them(plan: Plan) -> None:
    """Imported ones are drawn, rejected ones are neither, and the sheet edge is no feature."""
    ended = ended_run(plan, seconds=3.0)
    assert (ended.n_drawn, ended.n_candidates) == (3, 2)


def test_what_is_not_there_is_not_named(plan: Plan) -> None:
    """No sheet was made here."""
    assert list(ended_run(plan, seconds=3.0).files) == ["draft.gpkg"]


def test_kinds_and_notes_come_from_the_reports(plan: Plan) -> None:
    """A long report on the ground gives its first line and where the rest stands."""
    ended = ended_run(plan, seconds=3.0)
    assert (list(ended.poor), list(ended.impossible), ended.covered_m2) == (["boulders"], ["paths"], 900.0)
    assert list(ended.notes) == ["Ground: They differ here and there. Where that is stands in report/ground.txt."]
