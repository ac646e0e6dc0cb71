"""The worked example of `docs/guide/club.md`: what `tussock estimate` says of the sample, between two marks there.

`python -m docs.make_effort_example` after `make demo`; another folder of a draft may be named.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from pipeline.steps.effort.told import told_of

PROJECT = Path(__file__).parent.parent
PAGE = PROJECT / "docs" / "guide" / "club.md"
BEGIN, END = "<!-- made by docs/make_effort_example.py -->\n", "<!-- end -->\n"


def with_example(page: str, said: str, /) -> str:
    """The page with the example in the place of the one that it has."""
    block = f"{BEGIN}```text\n{said}```\n{END}"
    return re.sub(re.escape(BEGIN) + ".*?" + re.escape(END), lambda _: block, page, flags=re.DOTALL)


def main() -> None:
    """Write the example into the page."""
    out = Path(sys.argv[1]) if len(sys.argv) > 1 else PROJECT / "sample_tiles" / "out"
    PAGE.write_text(with_example(PAGE.read_text(encoding="utf-8"), told_of([out])), encoding="utf-8")


if __name__ == "__main__":
    main()
