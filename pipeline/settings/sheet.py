"""The printed field sheet."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from pipeline.settings.section import Section


class SheetSettings(Section):
    """The printed field sheet."""

    paper: Literal["auto", "A5", "A4", "A3", "Letter"] = Field(
        "auto",
        description="Paper to print on; a larger area is spread over numbered sheets. auto: the smallest of A5, A4 and A3 (the norm's limit) that holds the map and its legend.",
    )
    orientation: Literal["auto", "portrait", "landscape"] = Field(
        "auto",
        description="How the paper is held; auto: whichever holds the map on the smaller paper or on fewer sheets.",
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
