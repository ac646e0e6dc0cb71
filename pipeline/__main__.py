"""`python -m pipeline STEP --option ...`: one step of the workflow, in this process or one that is ready."""

from __future__ import annotations

import os
import sys

from pipeline.ready import READY, ask


def main(words: list[str], /) -> int:
    """Run one step; 0 when done, 2 for bad input with its message on standard error."""
    if READY in os.environ:
        return ask(os.environ[READY], words)
    # Imported late: it waits for libraries that a process which is ready has read already.
    from pipeline.command import run_step

    return run_step(words)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
