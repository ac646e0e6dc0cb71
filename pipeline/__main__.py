"""`python -m pipeline STEP --option ...`: one step of the workflow."""

from __future__ import annotations

import sys

from pipeline.command import run_step

if __name__ == "__main__":
    sys.exit(run_step(sys.argv[1:]))
