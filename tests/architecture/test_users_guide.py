"""What the README and the user's guide say is so: links, commands, area files, columns, files of the draft."""

from __future__ import annotations

import contextlib
import csv
import io
import re
import shlex
from pathlib import Path

import pytest

from pipeline.advice.never import NEVER_FOUND
from pipeline.cli import _parser
from pipeline.draft.compose import COLUMNS, SECTIONS
from pipeline.draft.record.left_out import COLUMNS as LEFT_OUT_COLUMNS
from pipeline.exports.formats import FILES
from pipeline.fieldwork.questions.columns import COLUMNS as CHECK_LIST_COLUMNS
from pipeline.files.earlier.written import STYLED
from pipeline.settings import load_area
from tests.paths import PROJECT

GUIDE = PROJECT / "docs" / "guide"
PAGES = [PROJECT / "README.md", *sorted(GUIDE.glob("*.md"))]
ALL_PAGES = sorted(
    {*PAGES, *PROJECT.glob("*.md"), *(PROJECT / "docs").rglob("*.md"), *(PROJECT / "config").glob("*.md")}
)
NEEDED = {"name": "name: x\n", "tiles": "tiles: x.laz\n", "map_date": "map_date: 2027-04-10\n"}
"""Lines without which no area file is one; a page may show a part of it."""


def blocks(text: str, language: str) -> list[str]:
    """What stands between fences of this language."""
    return re.findall(rf"^```{language}\b[^\n]*\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def anchors(text: str) -> set[str]:
    """The anchors of a page's headings, as they are made by the usual Markdown viewers."""
    titles = re.findall(r"^#+ (.+)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


def broken_links(page: Path) -> list[str]:
    """Links and pictures of a page to files that are not there, or to headings that are not."""
    found, text = [], page.read_text(encoding="utf-8")
    for link in re.findall(r"\]\(([^)\s]+)\)", re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)):
        if link.startswith(("http:", "https:", "mailto:")):
            continue
        file, _, anchor = link.partition("#")
        target = (page.parent / file).resolve() if file else page
        if not target.exists() or (anchor and anchor not in anchors(target.read_text(encoding="utf-8"))):
            found.append(link)
    return found


def commands(text: str) -> list[str]:
    """The lines of a page that call tussock, in fences or indented, without comments."""
    plain = [
        line
        for block in re.findall(r"^```sh\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
        for line in block.splitlines()
    ]
    plain += [line.strip() for line in text.splitlines() if line.startswith("    ")]
    parts = [part.strip() for line in plain for part in re.split(r"&&|\|\||;|\bdo\b", line.split(" #")[0])]
    return [part.removeprefix(".venv/bin/") for part in parts if re.match(r"(\.venv/bin/)?tussock\b", part)]


def refused(command: str) -> str:
    """What the command line says against a command; "" where it takes it."""
    said = io.StringIO()
    try:
        with contextlib.redirect_stderr(said):
            _parser().parse_args(shlex.split(command)[1:])
    except SystemExit:
        return said.getvalue().strip() or "refused"
    return ""


def first_column(text: str, heading: str) -> list[str]:
    """What stands in backticks in the first column of the first table below a heading."""
    below = text[text.index(f"## {heading}") :]
    rows = re.search(r"(?:^\|.*\n)+", below, re.MULTILINE)
    cells = [row.split("|")[1] for row in rows.group().splitlines()[2:]] if rows else []
    return [name for cell in cells for name in re.findall(r"`([^`]+)`", cell)]


@pytest.mark.parametrize("page", ALL_PAGES, ids=lambda page: page.relative_to(PROJECT).as_posix())
def test_links_lead_somewhere(page: Path) -> None:
    """Each file, picture and heading that a page leads to is there."""
    assert broken_links(page) == []


def test_broken_links_are_found(tmp_path: Path) -> None:
    """A missing file, a missing heading here and elsewhere."""
    (tmp_path / "other.md").write_text("# Here it is\n", encoding="utf-8")
    page = tmp_path / "page.md"
    page.write_text(
        "# One\n[a](nowhere.md) [b](#one) [c](#two) [d](other.md#here-it-is) [e](other.md#gone)\n", encoding="utf-8"
    )
    assert broken_links(page) == ["nowhere.md", "#two", "other.md#gone"]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_commands_are_taken(page: Path) -> None:
    """The command line knows each command with its options."""
    found = commands(page.read_text(encoding="utf-8"))
    assert [(command, refused(command)) for command in found if refused(command)] == []


def test_wrong_commands_are_found() -> None:
    """In fences, in loops and indented."""
    text = "```sh\nfor a in *; do tussock drafft $a || true; done\n```\n\n    .venv/bin/tussock survey  # no area\n"
    assert [bool(refused(command)) for command in commands(text)] == [True, True]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_area_files_shown_can_be_read(page: Path, tmp_path: Path) -> None:
    """Every piece of an area file holds settings that there are, with values they may have."""
    for text in blocks(page.read_text(encoding="utf-8"), "yaml"):
        missing = [line for name, line in NEEDED.items() if not re.search(rf"^{name}:", text, re.MULTILINE)]
        (tmp_path / "area.yaml").write_text("".join(missing) + text, encoding="utf-8")
        load_area(tmp_path / "area.yaml")


def test_every_column_is_explained() -> None:
    """The tables of columns name those that are written, in their order."""
    text = (GUIDE / "columns.md").read_text(encoding="utf-8")
    assert first_column(text, "The draft") == list(COLUMNS)
    assert first_column(text, "What was left out") == list(LEFT_OUT_COLUMNS)
    assert first_column(text, "What to look at") == list(CHECK_LIST_COLUMNS)
    assert all(f"`{section}`" in text for section in SECTIONS)


def test_what_no_draft_shows_is_what_the_end_of_a_run_says() -> None:
    """Each kind has its line."""
    text = (GUIDE / "mapper.md").read_text(encoding="utf-8")
    below = text[text.index("## What no draft shows") :]
    assert re.findall(r"^- (.+?) \([\d., ]+\)$", below, re.MULTILINE) == list(NEVER_FOUND)


def test_the_notes_shown_are_a_table_of_notes() -> None:
    """A place and a symbol in each row."""
    (table,) = blocks((GUIDE / "mapper.md").read_text(encoding="utf-8"), "csv")
    rows = list(csv.DictReader(io.StringIO(table)))
    assert len(rows) >= 12
    assert all(int(row["symbol"]) in (405, 406, 408, 410) for row in rows)


def test_exports_and_backdrops_that_are_named_are_written() -> None:
    """Each file below `exports/` that a page names is one that an export writes."""
    for page in PAGES:
        named = set(re.findall(r"`exports/([\w.]+)`", page.read_text(encoding="utf-8")))
        assert named <= {*FILES.values(), Path(STYLED).name}, page.name
