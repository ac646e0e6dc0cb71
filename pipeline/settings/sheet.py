"""The printed field sheet."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.settings.section import Section


class SheetSettings(Section):
    """The printed field sheet."""

    largest_paper: Literal["A5", "A4", "A3"] = Field(
        "A3",
        description="Largest paper to print on; a larger area is spread over several sheets. A3 is the norm's limit.",
    )
    page_margin_mm: float = Field(
        8.0, ge=0, le=30, description="White rim of the page; many printers cannot reach the outer 5 mm."
    )
    sheet_overlap_mm: float = Field(
        15.0, ge=0, le=50, description="What neighbouring sheets share, so that no feature is cut on both."
    )
    resolution_dpi: int = Field(
        300,
        ge=72,
        le=600,
        description="Resolution of the PNG and the TIFF: 300 shows a line of 0.1 mm, as most printers do.",
    )
    largest_image_mpx: float = Field(
        60.0, ge=1, le=400, description="Most pixels of the georeferenced image, so that drawing it fits into memory."
    )
