"""The plan of a batch: which areas, what tells that one is done, and what each needs of the machine."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from pipeline.errors import InputError
from pipeline.files import checksums
from pipeline.files.batch.listing import Listed, read_list
from pipeline.files.checksums import mark_of, sha256_of, text_mark
from pipeline.files.disk.atomic import check_writable
from pipeline.files.disk.lock import hold_folder
from pipeline.plan.code import fingerprint
from pipeline.plan.names import safe_name
from pipeline.plan.plan import CHECKSUMS, Plan, make_plan
from pipeline.plan.steps import STEPS

BROKEN_MB = 500
"""Memory for an area that cannot be planned: its refresh ends with the reason at once."""


@dataclass(frozen=True)
class Batch:
    """Areas to refresh in one go.

    Attributes
    ----------
    folder : where what came of them is written, beside the list
    listed : name of an area among files and in the table -> its row of the list
    """

    folder: Path
    listed: dict[str, Listed]

    @cached_property
    def names(self) -> list[str]:
        """Names of the areas, in the order of the list."""
        return list(self.listed)

    @cached_property
    def _plans(self) -> dict[str, Plan | str]:
        return {}

    def _plan(self, name: str) -> Plan | str:
        """The plan of an area, or why there is none: that is for its own job to say, and stops no other."""
        if name not in self._plans:
            try:
                self._plans[name] = make_plan(self.area_file(name))
            except InputError as error:
                self._plans[name] = str(error)
        return self._plans[name]

    def area_file(self, name: str) -> Path:
        """The area file of an area that is listed with it or with its folder."""
        area = self.listed[name].area
        return area / "area.yaml" if area.is_dir() else area

    def content(self, name: str) -> str:
        """A checksum of all that a refresh of an area reads: the old map, the area file, the tiles, the numbers."""
        plan, row = self._plan(name), self.listed[name]
        new = plan if isinstance(plan, str) else f"{plan.mark} {plan.boundary_content} {plan.borrowed_content}"
        numbers = sha256_of(row.numbers) if row.numbers and row.numbers.is_file() else ""
        return text_mark(f"{content_of_old(row.old)} {new} {numbers}")

    def numbers_option(self, name: str) -> list[str]:
        """The words of the command that name the table of the old map's numbers, where there is one."""
        numbers = self.listed[name].numbers
        return ["--numbers", str(numbers)] if numbers else []

    def mem_mb(self, name: str, cores: int) -> int:
        """Memory that the refresh of an area needs on so many cores."""
        plan = self._plan(name)
        return BROKEN_MB if isinstance(plan, str) else plan.most_mem_mb[0] * cores

    def remember(self) -> None:
        """Write the checksums of all tiles down with their areas, so that a large survey is read for them once."""
        for name in self.names:
            plan = self._plan(name)
            if isinstance(plan, Plan) and not (plan.out / CHECKSUMS).exists():
                known = {mark_of(Path(tile.path)): tile.sha256 for tile in plan.intake.table.tiles}
                checksums.remember(plan.out / CHECKSUMS, known)

    @cached_property
    def code(self) -> str:
        """Fingerprint of all code that drafts and compares."""
        modules = {place.partition(":")[0] for place in STEPS.values()} | {"pipeline.cli"}
        return text_mark(" ".join(fingerprint(module) for module in sorted(modules)))


BELOW = ("rasters", "points")
"""Folders of a run that a comparison reads: known by names and sizes, as they are large."""


def content_of_old(old: Path, /) -> str:
    """A checksum of an earlier run or map; that of nothing where it is not there.

    Of a folder all files that lie in it count by content, of a shapefile all files of its name; dates never do, so
    that a copy is as good as the original.
    """
    if old.is_dir():
        files = sorted(path for path in old.iterdir() if path.is_file() and not path.name.startswith("."))
        large = sorted(path for name in BELOW for path in (old / name).rglob("*") if path.is_file())
    else:
        beside = old.parent.glob(f"{old.stem}.*") if old.suffix.lower() == ".shp" else [old]
        files, large = sorted(path for path in beside if path.is_file()), []
    told = [f"{path.name} {sha256_of(path)}" for path in files]
    return text_mark("\n".join([*told, *(f"{path.relative_to(old)} {path.stat().st_size}" for path in large)]))


def plan_batch(path: Path, /) -> Batch:
    """The batch of a list; writes nothing.

    Raises
    ------
    InputError
        If the list cannot be used.
    """
    path = path.resolve()
    named: dict[str, Listed] = {}
    for row in read_list(path):
        # The folder tells areas apart whose files are all called area.yaml.
        own = row.area.parent.name if row.area.name == "area.yaml" else row.area.stem
        name = safe_name(own)
        named[f"{name}-line{row.line}" if name in named else name] = row
    return Batch(path.parent / f"{path.stem}_refreshed", named)


def hold_batch(batch: Batch, /) -> None:
    """Make the folder of a batch ready and hold it for this process.

    Raises
    ------
    InputError
        If another process is at work there, or it cannot be written to.
    """
    hold_folder(batch.folder)
    check_writable(batch.folder)
    batch.remember()


def batch_or_exit(path: str, /, *, is_job: bool = False) -> Batch:
    """The batch for its Snakefile, which holds its folder; a problem ends Snakemake with a message.

    Parameters
    ----------
    is_job : whether Snakemake started this process for one job; it writes nothing and holds nothing
    """
    try:
        batch = plan_batch(Path(path))
        if not is_job:
            hold_batch(batch)
    except InputError as error:
        sys.exit(f"error: {error}")
    return batch
