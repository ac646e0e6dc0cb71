"""The features of all sections composed to one draft."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from functools import partial
from pathlib import Path
from typing import cast

import geopandas as gpd
import pandas as pd

from pipeline.draft.choosing.status import Limits
from pipeline.draft.compose import compose_draft
from pipeline.draft.joining import Rewrite, join_fields
from pipeline.fieldwork.questions.listed import check_list_of_disagreements
from pipeline.files import arrays, layers
from pipeline.files.disk import atomic
from pipeline.files.disk.pieces import pieces_of
from pipeline.files.found.marks import read_marks
from pipeline.files.known_drafts import note_as_known
from pipeline.landform.telling import tell
from pipeline.marks.apply import apply_marks, gone_to_marks
from pipeline.marks.edits import as_written
from pipeline.marks.learning import hardly_seen_ground, learned_from, stated_before, with_learned
from pipeline.marks.mark import Kept
from pipeline.norm.symbols import norm_table
from pipeline.rock.draft import judge_rock
from pipeline.settings import DrawingSettings, RockSettings, VegetationSettings
from pipeline.sheet.page.north import north_of_area, technical_lines
from pipeline.survey.record import symbols_not_possible
from pipeline.vegetation.draft import say_vegetation

BY_FIELD = ("landform", "rock", "vegetation", "manmade")
"""Sections that are drawn field by field."""

OF_AREA = ("water", "rides")
"""Those that are drawn for the whole area at once."""


def compose(
    *,
    features: Path,
    plan: Path,
    outline: Path,
    survey: Path,
    out: Path,
    left_out: Path,
    disagreements: Path,
    marks: list[Path],
    written: Path,
    map_date: str,
    drawing: DrawingSettings,
    rock: RockSettings,
    vegetation: VegetationSettings,
    kept: Path | None = None,
    code: str = "",
) -> None:
    """One draft of all sections, in the fixed layers, what was left out of it, and where other maps say otherwise.

    What was found on foot (`marks`, one file or none) is in it. `written` is a copy by which a later run sees what
    a mapper has changed in the draft. What pieces of the work gave is found again in `kept`, where `code` is that of
    the last time.
    """
    area, crs = layers.read_outline(outline)
    date = datetime.date.fromisoformat(map_date)
    judges: dict[str, Rewrite] = {
        "landform": tell,
        "rock": partial(judge_rock, dark_ratio=rock.bare_rock_max_brightness_ratio),
        "vegetation": partial(say_vegetation, settings=vegetation),
    }
    tables = _sections(features, plan, crs, judges)
    tables.append(technical_lines(area, crs=crs, map_date=date))
    on_foot = read_marks(marks[0], crs) if marks else Kept(crs=crs)
    learned, unseen = learned_from(on_foot), hardly_seen_ground(tables)
    with pieces_of(kept, code) as remembered:
        draft = compose_draft(
            [with_learned(table, learned, unseen) for table in tables],
            area,
            crs=crs,
            north_deg=north_of_area(area, crs=crs, date=date).grid_deg,
            symbols=norm_table(),
            borrowed=layers.read_features(features / "borrowed.gpkg"),
            limits=Limits(
                drawing.drawn_from, drawing.drawn_from_by_symbol, symbols_not_possible(arrays.read_json(survey))
            ),
            seen=layers.read_outline(outline, layer="covered")[0],
            remembered=remembered,
        )
    marked = apply_marks(draft.layers, on_foot.marks)
    layers.write_layers(written, as_written(marked.layers, stated_before(draft.layers, learned)))
    layers.write_layers(out, marked.layers)
    note_as_known(out)
    dropped = pd.concat([draft.left_out, gone_to_marks(marked.gone)], ignore_index=True)
    to_look_at = check_list_of_disagreements(draft.disagreements).drop(columns="geometry")
    atomic.write_text(disagreements, to_look_at.to_csv(index=False, lineterminator="\n"))
    atomic.write_text(left_out, dropped.to_csv(index=False, lineterminator="\n"))


def _sections(features: Path, plan: Path, crs: str, judges: Mapping[str, Rewrite]) -> list[gpd.GeoDataFrame]:
    """The features of each section, those drawn by field joined."""
    planned = arrays.read_json(plan)
    names, field_m = cast("dict[str, object]", planned["fields"]), cast("float", planned["field_m"])
    tables = [layers.read_features(features / f"{name}.gpkg") for name in OF_AREA]
    for section in BY_FIELD:
        pieces = [layers.read_features(features / section / f"{name}.gpkg") for name in names]
        tables.append(join_fields(pieces, field_m=field_m, crs=crs, rewrite=judges.get(section)))
    return tables
