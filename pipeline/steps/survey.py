"""Step of the survey: what there is, and what can be found in it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pipeline.files import arrays, layers
from pipeline.files.disk import atomic
from pipeline.files.intake import read_samples
from pipeline.intake.leaf_calendar import LeafDays
from pipeline.plan.plan import Plan, make_plan
from pipeline.shipped import BOULDER_RECALL, PROMISES
from pipeline.survey.boulder_recall import recall_table
from pipeline.survey.credits import missing_credits
from pipeline.survey.promises import tables_of
from pipeline.survey.record import Survey, survey_record
from pipeline.survey.survey import survey_tiles
from pipeline.survey.word import describe_survey


def survey(*, area: Path, text: Path, figures: Path) -> None:
    """Survey the tiles of an area: in words for the mapper, and in figures for the sheet."""
    plan = make_plan(area)
    found = survey_plan(plan)
    atomic.write_text(text, describe_survey(found))
    credit = plan.area.credit.strip()
    said = {"credit": credit, "survey_line": survey_line(found, credit=credit)}
    arrays.write_json(figures, survey_record(found) | said)


def survey_plan(plan: Plan, /) -> Survey:
    """The survey of a planned area."""
    settings = plan.area.expert.survey
    table = plan.intake.table
    found = survey_tiles(
        table,
        plan.intake.working,
        plan.intake.headers,
        read_samples(table),
        boundary=layers.read_boundary(plan.boundary_path, plan.crs) if plan.boundary_path else None,
        boulder_recall=recall_table(arrays.read_json(BOULDER_RECALL)),
        promises=tables_of(arrays.read_json(PROMISES)),
        leaf_days=LeafDays(*settings.leaves_out_days_of_year, settings.leaves_down_day_of_year),
    )
    borrowed = [(Path(source.file).name, source.credit) for source in plan.borrowing.sources]
    return replace(found, cautions=found.cautions + missing_credits(plan.area.credit, borrowed))


def survey_line(found: Survey, /, *, credit: str) -> str:
    """What the draft was made from and by whom, one sentence in English for files beside the sheet.

    The days of flight are told with the leaf season.
    """
    return f"Airborne lidar ({credit or 'maker and licence not given'}), {found.density.pulses_per_m2:.1f} pulses/m2."
