"""What of the draft is drawn, and the printed field sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from pipeline.norm.symbols import norm_table
from pipeline.settings.section import Section


def as_shares_by_symbol(shares: Mapping[str, float]) -> Mapping[str, float]:
    """The table itself, if it names symbols of the norm and shares from 0 to 1.

    Raises
    ------
    ValueError
        Saying what is wrong.
    """
    known = norm_table()
    for symbol, share in shares.items():
        if symbol not in known:
            raise ValueError(f"'{symbol}' is not a symbol of ISOM 2017-2 that a draft may have")
        if not 0 <= share <= 1:
            raise ValueError(f"'{symbol}': a confidence lies between 0 and 1 (you wrote {share:g})")
    return shares


class DrawingSettings(Section):
    """What of the draft is drawn on the map, and what is only proposed."""

    drawn_from: float = Field(
        0.5,
        ge=0,
        le=1,
        description="Confidence from which a feature is drawn on the map. What is less sure is a candidate: in draft.gpkg and off the sheet.",
    )
    drawn_from_by_symbol: Annotated[Mapping[str, float], AfterValidator(as_shares_by_symbol)] = Field(
        {},
        description='The same for single symbols, their numbers in quotes, such as {"204": 0.7, "306": 0.3}.',
    )


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
