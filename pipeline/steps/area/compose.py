"""The features of all sections composed to one draft."""

from __future__ import annotations

import datetime
from pathlib import Path

from pipeline.draft.compose import compose_draft
from pipeline.files import layers
from pipeline.files.disk import atomic
from pipeline.norm.symbols import norm_table
from pipeline.sheet.page.north import north_of_area, technical_lines


def compose(*, sections: list[Path], outline: Path, out: Path, left_out: Path, map_date: str) -> None:
    """One draft of all sections, in the fixed layers, and the list of what was left out of it."""
    area, crs = layers.read_outline(outline)
    date = datetime.date.fromisoformat(map_date)
    tables = [layers.read_features(path) for path in sections]
    tables.append(technical_lines(area, crs=crs, map_date=date))
    draft = compose_draft(
        tables, area, crs=crs, north_deg=north_of_area(area, crs=crs, date=date).grid_deg, symbols=norm_table()
    )
    layers.write_layers(out, draft.layers)
    atomic.write_text(left_out, draft.left_out.to_csv(index=False, lineterminator="\n"))
