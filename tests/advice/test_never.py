"""What is said to be never drawn is what the sections of the ISOM have no symbol for in their code."""

import ast

from pipeline.advice.never import NEVER_FOUND, what_is_never_shown
from pipeline.norm.symbols import norm_table
from tests.rooms import PIPELINE

SECTIONS = ("landform", "rock", "water", "vegetation", "manmade")
DRAWS_NOTHING = {"calibration"}
"""Rooms of the sections that name symbols of the draft, and others, without drawing any."""
SAID_OTHERWISE = {"405", "508.1", "520"}
"""White forest, which is what nothing else covers; the variant of 508 that has no symbol of its own here; what is
forbidden, which is among the legal facts."""


def symbols_in_code() -> set[str]:
    """Every text in the code of the sections that is the number of a symbol."""
    found: set[str] = set()
    for section in SECTIONS:
        drawing = (path for path in (PIPELINE / section).rglob("*.py") if path.parent.name not in DRAWS_NOTHING)
        for path in drawing:
            nodes = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            found |= {node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str)}
    return found & set(norm_table().rows)


def test_every_symbol_is_drawn_somewhere_or_said_to_be_never_drawn() -> None:
    """A new detector makes this fail until the words for the mapper follow, and so does one that is taken out."""
    never = [symbol for symbols in NEVER_FOUND.values() for symbol in symbols]
    of_the_norm = {symbol for symbol in norm_table().rows if not symbol.startswith("6")}
    assert len(never) == len(set(never))
    assert set(never) == of_the_norm - symbols_in_code() - SAID_OTHERWISE


def test_each_kind_is_named() -> None:
    """The sentences leave out no kind."""
    said = " ".join(what_is_never_shown())
    assert [kind for kind in NEVER_FOUND if kind not in said] == []
