"""Step of the estimate: hours of fieldwork and of drawing, from the draft."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from pathlib import Path
from typing import cast

from pipeline.effort.age import age_of
from pipeline.effort.costs import Terms
from pipeline.effort.estimate import Estimate
from pipeline.effort.rates.hours import TRADE_PACE
from pipeline.effort.record import record_of
from pipeline.files import arrays
from pipeline.settings import EffortSettings, SheetSettings
from pipeline.steps.effort.ground import measure_draft
from pipeline.steps.effort.past import pace_by_history
from pipeline.steps.effort.sheets import shares_of_sheets


def effort(
    *,
    draft: Path,
    slope: Path,
    outline: Path,
    survey: Path,
    out: Path,
    name: str,
    map_date: str,
    scale: int,
    settings: EffortSettings,
    sheet: SheetSettings,
    history: list[str],
) -> None:
    """Estimate the hours of an area and write them down."""
    date = datetime.date.fromisoformat(map_date)
    seen = arrays.read_json(survey)
    extent = cast("Mapping[str, float]", seen.get("extent", {}))
    ground = measure_draft(draft=draft, slope=slope, outline=outline, survey=survey)
    pace = pace_by_history(Path(history[0]), own_out=Path.cwd()) if history else TRADE_PACE
    estimate = Estimate(
        name=name,
        crs=ground.crs,
        scale=scale,
        currency=settings.currency,
        cells=ground.cells,
        measures=ground.measures,
        grades=ground.grades,
        pace=pace,
        terms=terms_of(settings),
        age=age_of(seen, map_date=date),
        outside_km2=extent.get("outside_m2", 0.0) / 1e6,
        sheets=shares_of_sheets(
            ground.cells, ground.outline, crs=ground.crs, map_date=date, scale=scale, settings=sheet
        ),
    )
    arrays.write_json(out, record_of(estimate))


def terms_of(settings: EffortSettings, /) -> Terms:
    """How the club works, from the area file."""
    return Terms(settings.day_h, settings.day_rate, settings.travel_h, settings.mappers, settings.days_a_week)
