"""Where the files lie that ship with the code: the table of the norm, fitted trees, measured tables."""

from __future__ import annotations

from pathlib import Path

PROJECT = Path(__file__).parent.parent
"""The folder of the project: the Snakefile, `config/` and `sample_tiles/` lie in it."""
CONFIG = PROJECT / "config"
"""Tables and settings that a reader may open: the norm's symbols, measured recall, the schema of the area file."""
SYMBOLS = CONFIG / "symbols.csv"
"""The table of the norm: every size, gap, width and least area, with how sure each is."""
BOULDER_RECALL = CONFIG / "boulder_recall.json"
"""Share of boulders found by density and canopy, as measured; made by `python -m tests.benchmarks.rock density`."""
BOULDER_TREES = CONFIG / "boulder_trees.json"
"""Fitted trees that tell boulders from bushes, and what they were fitted to; made by `python -m
tests.benchmarks.rock_fit`."""
