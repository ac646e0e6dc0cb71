"""What every group of settings is: named values that are checked once and never change."""

from __future__ import annotations

import json

from pydantic import BaseModel, ConfigDict


class Section(BaseModel):
    """A group of settings; unknown names are refused and values never change after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def section_text(section: Section, /) -> str:
    """A section as one line of JSON: what a step receives and Snakemake keeps track of."""
    return json.dumps(section.model_dump(mode="json"), sort_keys=True, separators=(",", ":"))
