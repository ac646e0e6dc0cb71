"""Stands in for `tussock refresh` in a test: `stub_refresh.py OLD AREA ...` leaves what a refresh leaves, in no time.

OLD is a text file. "broken" in it makes it fail as a refresh does, with a sentence; any other text is a number of new
features. A line in the file `ran` beside OLD tells each time that it ran.
"""

import json
import sys
from pathlib import Path

from pipeline.errors import InputError
from pipeline.plan.plan import make_plan

old, area = Path(sys.argv[1]), Path(sys.argv[2])
with (old.parent / "ran").open("a", encoding="utf-8") as ran:
    ran.write(f"{area.parent.name}\n")
print("drafting", file=sys.stderr)
try:
    out = make_plan(area).out
    text = old.read_text(encoding="utf-8")
    if "broken" in text:
        raise InputError(f"{old}: holds no symbols; name a map with ISOM numbers")
except (InputError, OSError) as error:
    sys.exit(f"tussock: {error}")
(out / "fieldwork").mkdir(parents=True, exist_ok=True)
square = {"east_m": 0.0, "north_m": 0.0, "side_m": 250.0, "verified_unchanged": 0.75, "surveyed_m2": 62500.0}
told = {"counts": {"unchanged": 40, "new": int(text)}, "verified_unchanged": 0.75, "squares": [square]}
(out / "refresh.json").write_text(json.dumps(told | {"seasons": {"old": "leaf-on", "new": "leaf-off"}}))
cell = {"east_m": 0.0, "north_m": 0.0, "side_m": 250.0, "fieldwork_h": {"low": 2, "likely": 4.0, "high": 8}}
(out / "fieldwork" / "effort.json").write_text(json.dumps({"fieldwork_h": cell["fieldwork_h"], "cells": [cell]}))
(out / "fieldwork" / "changes_list.csv").write_text("rank,sure\n" + "".join(f"{n},0.5\n" for n in range(int(text))))
