"""The profiles for clusters, as far as they can be judged without one."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest
import yaml
from snakemake.cli import get_argument_parser

from pipeline.shipped import CONFIG
from tests.dry_runs import dry_run
from tests.paths import PROJECT
from tests.runs import SAMPLE, write_area

PROFILES = {path.parent.name: path for path in sorted(CONFIG.glob("profiles/*/config.yaml"))}
OF_PLUGINS = re.compile(r"executor$|container-image$|kubernetes-|slurm-|default-storage-")
"""Options that a plugin of Snakemake brings, or that cannot be used without it."""


def options(name: str) -> dict[str, object]:
    """What a profile sets."""
    return yaml.safe_load(PROFILES[name].read_text(encoding="utf-8"))


def rules() -> set[str]:
    """Names of the rules of the workflow of a draft; a batch is a workflow of its own."""
    files = (path for path in (PROJECT / "pipeline" / "rules").glob("*.smk") if path.name != "batch.smk")
    texts = [path.read_text(encoding="utf-8") for path in files]
    return {name for text in texts for name in re.findall(r"^(?:rule|checkpoint) (\w+):", text, re.MULTILINE)}


def has_plugin(name: str) -> bool:
    """Whether Snakemake can send jobs to this kind of cluster."""
    return importlib.util.find_spec(f"snakemake_executor_plugin_{name}") is not None


def planned(profile: Path, folder: Path, *further: str) -> str:
    """What Snakemake says it would do for the sample, with an export and a backdrop of each kind."""
    area = write_area(folder, f"{SAMPLE}/*.laz", exports="[styled, mbtiles]", backdrops="[slope]")
    done = dry_run("--profile", profile, *further, "--config", f"area={area}")
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout + done.stderr


def test_both_kinds_of_cluster_have_a_profile() -> None:
    """The tests below would pass without any."""
    assert set(PROFILES) == {"slurm", "kubernetes"}


@pytest.mark.parametrize("name", PROFILES)
def test_every_option_is_one_of_snakemake(name: str) -> None:
    """A misspelt option would be refused on the cluster only."""
    known = {text.removeprefix("--") for action in get_argument_parser()._actions for text in action.option_strings}
    unknown = set(options(name)) - known
    assert unknown == {option for option in unknown if OF_PLUGINS.match(option)}, unknown
    if has_plugin(name):
        assert not unknown


@pytest.mark.parametrize("name", PROFILES)
def test_only_rules_that_exist_are_named(name: str) -> None:
    """Snakemake says nothing about a group of a rule that was renamed long ago."""
    found = options(name)
    named = set(found["groups"]) | set(found.get("set-resources", {}))
    assert named <= rules(), named - rules()
    assert set(found["group-components"]) == set(found["groups"].values())


@pytest.mark.slow
@pytest.mark.parametrize("name", PROFILES)
def test_every_job_says_its_memory_and_time(name: str, tmp_path: Path) -> None:
    """A job that does not gets what the queue thinks right, and is killed half way."""
    kept = {key: value for key, value in options(name).items() if not OF_PLUGINS.match(key)}
    (tmp_path / "profile").mkdir()
    (tmp_path / "profile" / "config.yaml").write_text(yaml.safe_dump(kept), encoding="utf-8")
    said = planned(tmp_path / "profile", tmp_path)
    jobs = re.findall(r"^ *rule (\w+):\n((?: {4,}.*\n)*)", said, re.MULTILINE)
    assert {rule for rule, _ in jobs} >= rules() - {"all"}
    without = [rule for rule, text in jobs if not re.search(r"mem_mb=\d.*runtime=\d|runtime=\d.*mem_mb=\d", text)]
    assert without == []


@pytest.mark.slow
@pytest.mark.parametrize("name", PROFILES)
def test_snakemake_plans_the_sample_with_the_profile_as_it_is(name: str, tmp_path: Path) -> None:
    """With the plugin of the cluster in place all of its options are read and every job is planned."""
    if not has_plugin(name):
        pytest.skip(f"snakemake-executor-plugin-{name} is not installed")
    storage = ["--default-storage-prefix", str(tmp_path / "out")] if name == "kubernetes" else []
    assert "manifest" in planned(PROFILES[name], tmp_path, *storage)
