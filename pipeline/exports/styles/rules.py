"""Which features of a layer get which style: one rule for each symbol the layer may hold, and one for candidates."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from pipeline.exports.styles.paints import Paint, paints_of, thin
from pipeline.norm.symbols import Kind, SymbolTable

CANDIDATE, REJECTED = "candidate", "rejected"
"""Values of `status`: proposed and not on the map; looked at and found wrong. All others are drawn."""
CANDIDATE_OPACITY = 0.5
"""How much of a candidate's colour covers what is below (our choice)."""


@dataclass(frozen=True)
class Rule:
    """How the features of one symbol and status are drawn; what is rejected has no rule and is not drawn.

    Attributes
    ----------
    order : int
        Place in the order of printing, bottom first.
    """

    number: str
    label: str
    is_candidate: bool
    order: int
    paints: tuple[Paint, ...]

    @property
    def opacity(self) -> float:
        """0 shows nothing of the symbol, 1 nothing of what is below it."""
        return CANDIDATE_OPACITY if self.is_candidate else 1.0


def rules_of(layer: str, /, symbols: SymbolTable) -> Iterator[Rule]:
    """The rules of a layer of the draft, such as `rock_point`: all symbols of the norm that it may hold."""
    section, _, last = layer.rpartition("_")
    kind: Kind = "point" if last == "point" else "line" if last == "line" else "area"
    for number, symbol in symbols.rows.items():
        if symbol.section == section and kind in symbol.kinds:
            paints = paints_of(symbol, kind)
            label = f"{number} {symbol.name}"
            yield Rule(number, label, False, symbol.order, paints)
            yield Rule(number, f"{label} (candidate)", True, symbol.order, tuple(map(thin, paints)))
