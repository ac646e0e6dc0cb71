"""What was measured: tables with their date, kept in `docs/figures.json` and written as `docs/figures.md`."""

from __future__ import annotations

import datetime
import json
import os
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path


@dataclass(frozen=True)
class Table:
    """A table of figures, or what a program printed.

    Attributes
    ----------
    title : str
        One line; empty where there is only one table.
    columns, rows : texts
        Empty where the table is a print.
    printed : str
        What a program printed, kept as it came.
    """

    title: str
    columns: list[str] = field(default_factory=list)
    rows: list[list[str]] = field(default_factory=list)
    printed: str = ""

    def as_markdown(self) -> list[str]:
        """Lines of Markdown."""
        lines = [f"**{self.title}**", ""] if self.title else []
        if self.printed:
            return [*lines, "```", *self.printed.rstrip().splitlines(), "```", ""]
        lines += ["| " + " | ".join(self.columns) + " |", "| --- " * len(self.columns) + "|"]
        return [*lines, *("| " + " | ".join(row) + " |" for row in self.rows), ""]


@dataclass(frozen=True)
class Result:
    """Tables of one measurement and where they come from.

    Attributes
    ----------
    date : str
        ISO date of the measuring.
    commit : str
        Commit of the code that was measured; with "and changes" where it had changes that no commit holds.
    machine : str
        Processors, memory and other work on them, as costs depend on it.
    """

    date: str
    commit: str
    machine: str
    tables: list[Table]


@dataclass(frozen=True)
class Measurement:
    """Something the project states, and how to measure it again.

    Attributes
    ----------
    name : str
        How it is asked for: `make figures ONLY=name`.
    topic : str
        Heading that it stands under.
    question : str
        What was asked.
    tells : str
        What the figures are and how to read them.
    measure : function without arguments
        Returns the tables; raises SystemExit with a sentence when it cannot.
    command : str
        The command that prints the same, where there is one beside `make figures`.
    data : folders of TUSSOCK_DATA that it needs
    needs : environment variables that it needs
    is_long : bool
        Takes more than a minute: measured only when asked for by name.
    """

    name: str
    topic: str
    question: str
    tells: str
    measure: Callable[[], list[Table]]
    command: str = ""
    data: tuple[str, ...] = ()
    needs: tuple[str, ...] = ()
    is_long: bool = False

    def missing(self) -> list[str]:
        """What it needs and is not here, in words."""
        wanted = ("TUSSOCK_DATA", *self.needs) if self.data else self.needs
        unset = [f"{name} is not set" for name in wanted if not os.environ.get(name)]
        if not self.data or not os.environ.get("TUSSOCK_DATA"):
            return unset
        folder = Path(os.environ["TUSSOCK_DATA"])
        return unset + [f"{name} is not in TUSSOCK_DATA" for name in self.data if not (folder / name).exists()]


def read_results(path: Path, /) -> dict[str, Result]:
    """Results by the name of their measurement; none where the file is not there yet."""
    if not path.exists():
        return {}
    kept = json.loads(path.read_text(encoding="utf-8"))
    return {
        name: Result(**(result | {"tables": [Table(**table) for table in result["tables"]]}))
        for name, result in kept.items()
    }


def write_results(path: Path, results: dict[str, Result], /) -> None:
    """Keep results as JSON, by name."""
    kept = {name: asdict(results[name]) for name in sorted(results)}
    path.write_text(json.dumps(kept, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def measure_again(
    measurements: Sequence[Measurement],
    results: dict[str, Result],
    name: str,
    /,
    *,
    commit: str,
    machine: str,
    say: Callable[[str], None],
) -> dict[str, Result]:
    """Results with a new value of one measurement; where it cannot be measured, its last value stays with its date.

    Raises
    ------
    SystemExit
        If no measurement has this name.
    """
    one = next((one for one in measurements if one.name == name), None)
    if one is None:
        raise SystemExit(f"no figure is named '{name}'; ONLY=list names them all")
    missing = one.missing()
    if missing:
        say(f"{name}: not measured here ({'; '.join(missing)}); its last value stays")
        return results
    say(f"{name}: measuring")
    try:
        tables = one.measure()
    except SystemExit as error:
        say(f"{name}: not measured ({(str(error).strip() or 'no reason told').splitlines()[-1]}); its last value stays")
        return results
    return results | {name: Result(datetime.date.today().isoformat(), commit, machine, tables)}


def markdown_of(measurements: Sequence[Measurement], results: dict[str, Result], /) -> str:
    """The page: every measurement with its last result, topic by topic."""
    lines = [
        "# Figures",
        "",
        "Made by `make figures` from `docs/figures.json`; do not edit by hand.",
        "`make figures ONLY=structure,cost` measures single ones again; long ones are measured only when asked for.",
        "What cannot be measured for want of data keeps its last value with its date.",
        "",
    ]
    for topic in dict.fromkeys(one.topic for one in measurements):
        lines += [f"## {topic}", ""]
        for one in (one for one in measurements if one.topic == topic):
            lines += [*_section(one, results.get(one.name)), ""]
    return "\n".join(lines).rstrip() + "\n"


def _section(one: Measurement, result: Result | None) -> list[str]:
    needs = ", ".join([*one.needs, *(f"`{name}` of TUSSOCK_DATA" for name in one.data)]) or "nothing but the project"
    again = f"`make figures ONLY={one.name}`" + (f" or `{one.command}`" if one.command else "")
    lines = [f"### {one.question}", "", one.tells, f"Again: {again}.", f"Needs: {needs}."]
    if result is None:
        return [*lines, "Not measured yet."]
    lines += [f"Measured {result.date} at {result.commit}, on {result.machine}.", ""]
    return [*lines, *(line for table in result.tables for line in table.as_markdown())][:-1]
