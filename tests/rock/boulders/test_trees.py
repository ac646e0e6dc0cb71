"""The fitted trees: the file that is shipped, what is refused, and the walk down a tree."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.errors import SettingsError
from pipeline.plan.code import closure
from pipeline.rock.boulders import trees
from pipeline.rock.boulders.confidence import boulder_terms, first_terms
from pipeline.rock.boulders.evidence import Evidence
from pipeline.rock.boulders.first_look import FirstLook
from pipeline.rock.boulders.trees import FIRST_LOOK_MEASURES, FULL_MEASURES, Forest, Tree, odds_by_trees, read_trees
from pipeline.shipped import BOULDER_TREES


def test_trees_add_up_the_leaves_a_lump_falls_into() -> None:
    """A split goes one way up to its limit and the other way above; numbers below zero are leaves."""
    stump = Tree(splits=(("size", 1.0, -1, -2),), leaves=(-0.5, 0.25))
    deep = Tree(splits=(("height", 2.0, 1, -3), ("size", 3.0, -1, -2)), leaves=(1.0, 2.0, 4.0))
    terms = {"size": np.array([1.0, 2.0, 5.0, 5.0]), "height": np.array([2.0, 1.0, 1.0, 2.5])}
    assert odds_by_trees(terms, Forest(offset=-3.0, trees=(stump, deep))).tolist() == [-2.5, -1.75, -0.75, 1.25]


def test_the_measures_a_tree_may_ask_for_are_those_that_are_taken() -> None:
    """What the file is checked against is what the two looks measure, no more and no less."""
    first = FirstLook(**{field.name: np.ones(1) for field in fields(FirstLook)})
    full = Evidence(**{field.name: np.ones(1) for field in fields(Evidence)})
    assert set(first_terms(first)) == FIRST_LOOK_MEASURES
    assert set(boulder_terms(full)) == FULL_MEASURES


def test_the_shipped_file_says_what_it_was_made_of_and_by() -> None:
    """Command, date and data stand in the file, and every measure taken is asked for by some tree."""
    shipped = read_trees(BOULDER_TREES.read_bytes())
    assert shipped.made_by == "python -m tests.benchmarks.rock_fit"
    assert "bc_1" in shipped.made_from["tiles planted, with seeds"]
    assert shipped.first_look.measures == FIRST_LOOK_MEASURES
    assert shipped.full.measures == FULL_MEASURES


def test_what_is_computed_depends_on_the_file() -> None:
    """A refit runs the steps again that use the trees, and not those that do not."""
    assert BOULDER_TREES in closure("pipeline.steps.block.boulders")
    assert BOULDER_TREES in closure("pipeline.steps.field.rock")
    assert BOULDER_TREES not in closure("pipeline.steps.area.water")


def _without_a_leaf(record: dict[str, Any]) -> None:
    record["full"]["trees"][3]["leaves"].pop()


def _in_a_circle(record: dict[str, Any]) -> None:
    record["first_look"]["trees"][0] = {
        "splits": [["open", 1.0, -1, -2], ["open", 1.0, 2, -3], ["open", 1.0, 1, -4]],
        "leaves": [0.0] * 4,
    }


def _by_an_unknown_measure(record: dict[str, Any]) -> None:
    record["full"]["trees"][0]["splits"][0][0] = "colour"


def _by_a_measure_of_the_other_look(record: dict[str, Any]) -> None:
    record["first_look"]["trees"][0]["splits"][0][0] = "clutter"


def _by_a_word(record: dict[str, Any]) -> None:
    record["full"]["offset"] = "low"


def _without_trees(record: dict[str, Any]) -> None:
    del record["full"]["trees"]


@pytest.mark.parametrize(
    ("spoil", "told"),
    [
        (_without_a_leaf, ["full.trees.3", "exactly once"]),
        (_in_a_circle, ["first_look.trees.0", "onwards"]),
        (_by_an_unknown_measure, ["colour"]),
        (_by_a_measure_of_the_other_look, ["clutter"]),
        (_by_a_word, ["full.offset", "number"]),
        (_without_trees, ["full.trees", "required"]),
    ],
)
def test_a_broken_file_is_refused_with_the_place(spoil: Callable[[dict[str, Any]], None], told: list[str]) -> None:
    """Each fault is named where it is; unspoilt, the same record is read."""
    record = json.loads(BOULDER_TREES.read_text(encoding="utf-8"))
    assert read_trees(json.dumps(record).encode()) == read_trees(BOULDER_TREES.read_bytes())
    spoil(record)
    with pytest.raises(SettingsError) as caught:
        read_trees(json.dumps(record).encode())
    assert all(part in str(caught.value) for part in told), caught.value


@pytest.mark.parametrize("text", [None, "", "{", "[]", '{"full": 1}'])
def test_a_file_that_is_missing_or_cut_off_is_named(
    text: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The message names the file and says what to do."""
    path = tmp_path / "boulder_trees.json"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    monkeypatch.setattr(trees, "BOULDER_TREES", path)
    with pytest.raises(SettingsError, match=r"boulder_trees\.json.*Restore the file"):
        trees.boulder_trees.__wrapped__()
