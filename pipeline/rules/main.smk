# The whole workflow; paths below are relative to the area's `out:` folder.
import shlex
import sys
from pathlib import Path

from snakemake.utils import min_version

min_version("9.14")

from pipeline.exports.formats import BACKDROP_SOURCES, FROM_DRAFT, FROM_SHEET
from pipeline.plan.plan import plan_or_exit
from pipeline.ready import STEP_ENVIRONMENT, to_begin_steps
from pipeline.settings import section_text

PLAN = plan_or_exit(config.get("area", "sample_tiles/area.yaml"), is_job=not workflow.is_main_process)

# Steps run with the Python that runs Snakemake, whatever PATH says.
BIN = shlex.quote(str(Path(sys.executable).parent)).replace("{", "{{").replace("}", "}}")
ENVIRONMENT = " ".join(f"{name}={value}" for name, value in STEP_ENVIRONMENT.items())
KNOCK = to_begin_steps().replace("{", "{{").replace("}", "}}")
shell.prefix(f'set -euo pipefail; export PATH={BIN}:"$PATH" {ENVIRONMENT}; {KNOCK}')


# What goes first where more could begin than there are cores: what most others wait for, and of one kind what takes
# longest. What nobody waits for (tiles written back, pictures of the relief) is left for cores that would be idle.
FIRST, SOON, LATER = 3, 2, 1


workdir: str(PLAN.out)


wildcard_constraints:
    tile="[A-Za-z0-9_][A-Za-z0-9_.-]*",
    block="[ew][0-9]+_[ns][0-9]+",
    field="whole|[ew][0-9]+_[ns][0-9]+",
    export="|".join(FROM_DRAFT.values()),
    tiles="|".join(FROM_SHEET.values()),
    backdrop="|".join(BACKDROP_SOURCES),


include: "tile.smk"
include: "block.smk"
include: "field.smk"
include: "area.smk"
include: "effort.smk"
include: "fieldwork.smk"
include: "exports.smk"
include: "report.smk"


rule all:
    default_target: True
    input:
        "manifest.json",
        "fieldwork/effort.json",
        # Asked for by name, so that a file of points that was lost is written again though the manifest stands.
        expand("work/labelled/{tile}.json", tile=PLAN.tile_names),
