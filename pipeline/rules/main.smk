# The whole workflow; paths below are relative to the area's `out:` folder.
import shlex
import sys
from pathlib import Path

from snakemake.utils import min_version

min_version("9.14")

from pipeline.plan.plan import plan_or_exit

PLAN = plan_or_exit(config.get("area", "config/area.yaml"), is_job=not workflow.is_main_process)

# Steps run with the Python that runs Snakemake, whatever PATH says, and with one thread each: jobs run side by side.
# Columns of returns come and go by the hundred; handing each back to the system (glibc's default for large pieces of
# memory, mallopt(3)) costs a fifth of the time of a block, and keeping them until the step ends costs no memory more.
BIN = shlex.quote(str(Path(sys.executable).parent)).replace("{", "{{").replace("}", "}}")
shell.prefix(
    f'set -euo pipefail; export PATH={BIN}:"$PATH" OMP_NUM_THREADS=1'
    " MALLOC_MMAP_THRESHOLD_=4294967296 MALLOC_TRIM_THRESHOLD_=8589934592 MALLOC_TOP_PAD_=67108864; "
)


workdir: str(PLAN.out)


wildcard_constraints:
    tile="[A-Za-z0-9_][A-Za-z0-9_.-]*",
    block="[ew][0-9]+_[ns][0-9]+",
    field="whole|[ew][0-9]+_[ns][0-9]+",


include: "tile.smk"
include: "block.smk"
include: "field.smk"
include: "area.smk"


rule all:
    default_target: True
    input:
        "manifest.json",
