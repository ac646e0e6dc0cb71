"""What of the draft is drawn on the map, and what is only proposed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

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
