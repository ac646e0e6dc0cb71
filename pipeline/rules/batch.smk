# Many areas refreshed in one workflow; paths below are relative to the folder of the batch, beside its list.
#
#   snakemake --snakefile pipeline/rules/batch.smk --keep-going --cores 2 --config list=LIST.csv
#
# `tussock refresh --batch LIST.csv` does the same. With `--profile config/profiles/slurm` each area is a job of the cluster.
import shlex
import sys
from pathlib import Path

from snakemake.utils import min_version

min_version("9.14")

from pipeline.plan.batch import batch_or_exit
from pipeline.ready import STEP_ENVIRONMENT
from pipeline.steps.batch.summary import write_summary

BATCH = batch_or_exit(config["list"], is_job=not workflow.is_main_process)

BIN = shlex.quote(str(Path(sys.executable).parent)).replace("{", "{{").replace("}", "}}")
ENVIRONMENT = " ".join(f"{name}={value}" for name, value in STEP_ENVIRONMENT.items())
shell.prefix(f'set -euo pipefail; export PATH={BIN}:"$PATH" {ENVIRONMENT}; ')

# What refreshes one area, as words of a shell: OLD, the area file and options come after it. It writes the outcome.
REFRESH = config.get("refresh", "python -m pipeline.cli refresh")
# Memory that one area may use; on a cluster as much as it asks for.
MOST_MB = int(config.get("most_mb", 1_000_000))


workdir: str(BATCH.folder)


wildcard_constraints:
    area="[A-Za-z0-9_][A-Za-z0-9_.-]*",


rule all:
    default_target: True
    input:
        expand("outcomes/{area}.json", area=BATCH.names),


rule refresh_area:
    """Draft one area where that is not done, compare it with its old map, and note what came of it."""
    output:
        "outcomes/{area}.json",
    log:
        "logs/{area}.log",
    threads: int(config.get("cores_each", 1))
    resources:
        mem_mb=lambda wildcards, threads: min(BATCH.mem_mb(wildcards.area, threads), MOST_MB),
        # Minutes on a cluster, for some square kilometres.
        runtime=600,
    params:
        refresh=REFRESH,
        old=lambda wildcards: str(BATCH.listed[wildcards.area].old),
        area=lambda wildcards: str(BATCH.area_file(wildcards.area)),
        numbers=lambda wildcards: BATCH.numbers_option(wildcards.area),
        content=lambda wildcards: BATCH.content(wildcards.area),
        code=BATCH.code,
    shell:
        "{params.refresh} {params.old:q} {params.area:q} {params.numbers:q} --cores {threads}"
        " --memory $(({resources.mem_mb} / 1000 + 1)) --outcome {output:q}"
        " > {log:q} 2>&1"


onsuccess:
    write_summary(BATCH)


onerror:
    write_summary(BATCH)
