"""Faults put back on purpose, one by one: `python -m tests.benchmarks.mutations [WORD]`.

A test that was never seen red may hold nothing. Each mutation below brings one fault of the flow back into a copy of
the project and runs the test that is there against it, which must fail; the same test passes on the copy as it is.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

from tests.benchmarks.results import Table
from tests.paths import PROJECT

FOLDERS = ("pipeline", "tests", "config", "sample_tiles", "docs")
FILES = ("Snakefile", "pyproject.toml", "setup.py", "README.md", "DEVELOPERS.md", "CHANGELOG.md", "Makefile")
LEFT_OUT = ("out", "__pycache__", ".venv")


@dataclass(frozen=True)
class Mutation:
    """One fault: what is changed in which file, and the test that must see it."""

    fault: str
    file: str
    before: str
    after: str
    test: str


MUTATIONS = [
    Mutation(
        "a tile keeps a name that Snakemake misreads",
        "pipeline/plan/names.py",
        "    if likeness == name:",
        "    if name:",
        "tests/faults/test_names_flow.py::test_safe_names_are_safe_and_tell_tiles_apart",
    ),
    Mutation(
        "a block west of the origin has a sign in its name",
        "pipeline/lattice/blocks.py",
        "{'w' if self.col < 0 else 'e'}{abs(self.col)}",
        "e{self.col}",
        "tests/faults/test_names_flow.py::test_a_block_is_found_by_its_name",
    ),
    Mutation(
        "the lock lets others in",
        "pipeline/files/disk/lock.py",
        "fcntl.LOCK_EX",
        "fcntl.LOCK_SH",
        "tests/faults/test_two_runs.py::test_a_job_of_a_run_is_not_refused",
    ),
    Mutation(
        "a fingerprint stops at the step's own module",
        "pipeline/plan/code.py",
        "        waiting += names",
        "        waiting += ()",
        "tests/plan/test_code.py",
    ),
    Mutation(
        "a fingerprint leaves out tables",
        "pipeline/plan/code.py",
        "        found |= tables",
        "        found |= set()",
        "tests/plan/test_code.py",
    ),
    Mutation(
        "a rule does not know the code of its step",
        "pipeline/rules/area.smk",
        'code=PLAN.code("season")',
        'code=PLAN.code("rides")',
        "tests/faults/test_reruns_flow.py::test_a_rule_keeps_track_of_the_code_it_runs",
    ),
    Mutation(
        "a rule does not name what its step reads",
        "pipeline/rules/area.smk",
        '        fields=expand("work/running/{field}", field=PLAN.field_names),\n',
        "",
        "tests/faults/test_reruns_flow.py::test_a_step_reads_nothing_its_rule_does_not_declare",
    ),
    Mutation(
        "another boundary redoes nothing",
        "pipeline/plan/plan.py",
        "return text_mark(layers.read_boundary(self.boundary_path, self.crs).wkb_hex) if self.boundary_path else",
        "return",
        "tests/faults/test_reruns_flow.py::test_another_boundary_in_a_file_of_the_same_name_redoes_what_it_limits",
    ),
    Mutation(
        "density is told from returns and not from pulses on the ground covered",
        "pipeline/steps/decide.py",
        "    density = ground.pulses_per_m2()",
        "    density = ground.pulses_per_m2() / len(tiles)",
        "tests/steps/test_decide.py::test_an_l_as_three_tiles_and_as_one_is_decided_the_same",
    ),
    Mutation(
        "the boundary does not limit the outline",
        "pipeline/steps/area/rasters.py",
        "    for path in boundary:",
        "    for path in boundary[:0]:",
        "tests/steps/test_seams.py::test_a_boundary_limits_the_outline_and_nothing_that_is_looked_at",
    ),
    Mutation(
        "a run that does not fit the memory begins",
        "pipeline/plan/room.py",
        "    if most_mb > memory_mb:",
        "    if most_mb < 0:",
        "tests/faults/test_machine_flow.py::test_a_run_that_does_not_fit_the_memory_says_so_before_it_starts",
    ),
    Mutation(
        "Snakemake is not told how much memory there is",
        "pipeline/workflow.py",
        'resources={"mem_mb": memory_mb}',
        "resources={}",
        "tests/faults/test_machine_flow.py::test_snakemake_is_told_how_much_memory_there_is",
    ),
    Mutation(
        "a run that does not fit the disk begins",
        "pipeline/plan/room.py",
        "    if needed > free:",
        "    if needed < 0:",
        "tests/faults/test_machine_flow.py::test_a_disk_that_is_too_small_is_told_before_the_start",
    ),
    Mutation(
        "a halo below what boulders need",
        "pipeline/plan/cut.py",
        "    return max(LEAST_HALO_M, 2 * ground_window_m + LOOK_AROUND_M)",
        "    return LEAST_HALO_M / 2",
        "tests/plan/test_plan.py::test_the_halo_is_wider_than_all_that_looks_over_the_edge_of_a_block",
    ),
    Mutation(
        "planning asks from all to all",
        "pipeline/plan/plan.py",
        "    @cached_property\n    def _blocks_near(",
        "    @property\n    def _blocks_near(",
        "tests/plan/test_plan.py::test_neighbours_are_looked_up_once_for_each_tile_and_block",
    ),
    Mutation(
        "files of removed tiles stay",
        "pipeline/files/written_points.py",
        '            (out / _read(path)["points"]).unlink(missing_ok=True)\n',
        "",
        "tests/faults/test_removed_tiles_flow.py::test_a_removed_tile_goes_with_its_record_and_nothing_else_does",
    ),
    Mutation(
        "what lies beyond the survey's rim is open land",
        "pipeline/vegetation/areas/ground.py",
        "    is_unfit = (is_cover & ~is_lone) | is_outside",
        "    is_unfit = is_cover & ~is_lone",
        "tests/vegetation/areas/test_open_land.py::test_what_lies_beyond_the_survey_is_not_taken_for_open_land",
    ),
    Mutation(
        "beams of one laser are taken for one",
        "pipeline/terrain/profile.py",
        "<< 2 | cloud.channel)",
        "<< 2)",
        "tests/terrain/test_profile.py::test_channels_that_fire_together_keep_their_pulses_apart",
    ),
    Mutation(
        "a given CRS overrides without a word",
        "pipeline/intake/working_crs.py",
        "        if not crs_overrides:",
        "        if crs_overrides is None:",
        "tests/faults/test_command.py::test_a_crs_in_the_area_file_that_the_tiles_contradict",
    ),
    Mutation(
        "confidences of all kinds are one scale",
        "pipeline/draft/collisions.py",
        "KINDS.get(number, MEASURED)",
        "MEASURED",
        "tests/draft/test_compose.py::test_confidences_are_compared_within_one_kind_only",
    ),
]


def seen_red(one: Mutation, tree: Path, /) -> str:
    """How the test of a mutation ends on a copy of the project: "red", or what is wrong with it.

    Raises
    ------
    SystemExit
        If the code to be changed is not there once.
    """
    file = tree / one.file
    text = file.read_text(encoding="utf-8")
    if text.count(one.before) != 1:
        raise SystemExit(f"{one.fault}: '{one.before.strip()}' stands {text.count(one.before)} times in {one.file}")
    if _fails(one.test, tree):
        return "red without the mutation"
    file.write_text(text.replace(one.before, one.after), encoding="utf-8")
    try:
        return "red" if _fails(one.test, tree) else "NOT SEEN"
    finally:
        file.write_text(text, encoding="utf-8")


def _fails(test: str, tree: Path) -> bool:
    """Whether a test fails; SystemExit where there is no such test."""
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", test]
    done = subprocess.run(
        command, cwd=tree, env=os.environ | {"PYTHONPATH": str(tree)}, capture_output=True, text=True, check=False
    )
    if done.returncode not in (0, 1):
        raise SystemExit(f"{test}: {done.stdout.strip()[-300:]}{done.stderr.strip()[-300:]}")
    return done.returncode == 1


def mutations(word: str = "") -> Table:
    """A row for each mutation whose words hold this word."""
    rows = []
    with tempfile.TemporaryDirectory(prefix="tussock-mutations-") as name:
        tree = Path(name)
        for folder in FOLDERS:
            shutil.copytree(PROJECT / folder, tree / folder, ignore=shutil.ignore_patterns(*LEFT_OUT))
        for file in FILES:
            shutil.copy(PROJECT / file, tree / file)
        for one in (one for one in MUTATIONS if word in one.fault):
            rows.append([one.fault, one.file, one.test, seen_red(one, tree)])
            print(" | ".join(rows[-1]), flush=True)
    return Table("", ["fault put back", "in", "test", "ends"], rows)


if __name__ == "__main__":
    mutations(*sys.argv[1:])
