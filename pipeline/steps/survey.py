"""Step of the survey: what there is, and what can be found in it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pipeline.files import arrays, layers
from pipeline.files.disk import atomic
from pipeline.files.disk.pieces import pieces_of
from pipeline.files.intake import read_samples
from pipeline.intake.leaf_calendar import LeafDays
from pipeline.plan.plan import Plan, make_plan
from pipeline.remembered import Remembered, nothing_remembered
from pipeline.shipped import BOULDER_RECALL, PROMISES
from pipeline.survey.boulder_recall import recall_table
from pipeline.survey.credits import missing_credits
from pipeline.survey.promises import tables_of
from pipeline.survey.record import Survey, survey_record
from pipeline.survey.survey import survey_tiles
from pipeline.survey.word import describe_survey


def survey(*, area: Path, text: Path, figures: Path, kept: Path | None = None, code: str = "") -> None:
    """Survey the tiles of an area: in words for the mapper, and in figures for the sheet.

    What samples of tiles told is kept in `kept` from run to run, as long as the code is the same.
    """
    plan = make_plan(area)
    with pieces_of(kept, code) as remembered:
        found = survey_plan(plan, remembered=remembered)
    atomic.write_text(text, describe_survey(found))
    arrays.write_json(figures, survey_record(found) | {"credit": plan.area.credit.strip()})


def survey_plan(plan: Plan, /, *, remembered: Remembered = nothing_remembered) -> Survey:
    """The survey of a planned area."""
    settings = plan.area.expert.survey
    table = plan.intake.table
    samples = read_samples(table)
    found = survey_tiles(
        table,
        plan.intake.working,
        plan.intake.headers,
        samples,
        most_read=samples.n_points,
        remembered=remembered,
        boundary=layers.read_boundary(plan.boundary_path, plan.crs) if plan.boundary_path else None,
        boulder_recall=recall_table(arrays.read_json(BOULDER_RECALL)),
        promises=tables_of(arrays.read_json(PROMISES)),
        leaf_days=LeafDays(*settings.leaves_out_days_of_year, settings.leaves_down_day_of_year),
    )
    borrowed = [(Path(source.file).name, source.credit) for source in plan.borrowing.sources]
    return replace(found, cautions=found.cautions + missing_credits(plan.area.credit, borrowed))
