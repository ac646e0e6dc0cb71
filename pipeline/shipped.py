"""Where the files lie that ship with the code: the workflow, the table of the norm, measured tables.

In a clone `config/` stands beside the package, where a reader finds it; in an installed Tussock it travels inside.
"""

from __future__ import annotations

from pathlib import Path

PACKAGE = Path(__file__).parent
TYPEFACES = PACKAGE / "sheet" / "page" / "fonts"
"""Typefaces for letters that the PDF library's own one lacks; made by `docs/make_fonts.py`."""
CATALOGUES = PACKAGE / "words" / "po"
"""Texts of the sheet in other languages than English, one file each; brought in step with the code by `make words`."""
PAGE_PARTS = PACKAGE / "report" / "parts"
"""The page's frame, style and script, put together by `pipeline.report.page`."""
MAP_LIBRARY = PACKAGE / "report" / "leaflet"
"""Leaflet, the library that moves and enlarges the page's map, as published, with its licence."""
READ_WHOLE = (TYPEFACES, CATALOGUES, PAGE_PARTS, MAP_LIBRARY)
"""Folders of which a step that names one may read every file."""
WORKFLOW = PACKAGE / "rules" / "main.smk"
"""The rules of the whole workflow; the clone's `Snakefile` includes it."""
BATCH_WORKFLOW = PACKAGE / "rules" / "batch.smk"
"""The rules of `tussock refresh --batch`, where an area is a job."""
CONFIG = PACKAGE.parent / "config" if (PACKAGE.parent / "config" / "symbols.csv").exists() else PACKAGE / "config"
"""Tables and settings that a reader may open: the norm's symbols, measured recall, the schema of the area file."""
SYMBOLS = CONFIG / "symbols.csv"
"""The table of the norm: every size, gap, width and least area, with how sure each is."""
BORROWED = CONFIG / "borrowed.csv"
"""What features of other maps become which symbol of the norm; a mapper may add a table of their own."""
LOOKS = CONFIG / "looks.csv"
"""How much each symbol matters to a runner, and how long a look at one takes."""
SCHEMA = CONFIG / "area.schema.json"
"""What editors complete an area file by; made by `make settings`."""
BOULDER_RECALL = CONFIG / "boulder_recall.json"
"""Share of boulders found by density and canopy, as measured; made by `python -m tests.benchmarks.rock density`."""
PROMISES = CONFIG / "promises.json"
"""Cases of features found and drawn right, by returns and ground; made by `python -m
tests.benchmarks.promises`."""
BOULDER_TREES = CONFIG / "boulder_trees.json"
"""Fitted trees that tell boulders from bushes, and what they were fitted to; made by `python -m
tests.benchmarks.rock_fit`."""
