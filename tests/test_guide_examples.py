"""The worked examples of the user's guide, run as they are printed, from the project's folder copied elsewhere."""

from __future__ import annotations

import os
import re
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from tests.paths import PROJECT
from tests.runs import RUN_TIMEOUT_S, SAMPLE

pytestmark = pytest.mark.slow

GUIDE = PROJECT / "docs" / "guide"
FILES = {"csv": "notes.csv", "geojson": "areas/tarnlow/old_map.geojson"}
"""Language of a block that is a file -> where the page says that it lies."""


def pieces(page: str) -> list[tuple[str, str]]:
    """Language and content of what a page shows between fences, in its order."""
    text = (GUIDE / page).read_text(encoding="utf-8")
    return re.findall(r"^```(\w+)[^\n]*\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sample in it and the command on the path."""
    folder = tmp_path_factory.mktemp("guide")
    (folder / "sample_tiles").mkdir()
    for tile in SAMPLE.glob("*.laz"):
        (folder / "sample_tiles" / tile.name).symlink_to(tile)
    command = folder / "bin" / "tussock"
    command.parent.mkdir()
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m pipeline.cli "$@"\n', encoding="utf-8")
    command.chmod(command.stat().st_mode | stat.S_IXUSR)
    return folder


def follow(page: str, folder: Path) -> str:
    """Do what a page shows, from top to bottom; all that was printed."""
    path = f"{folder / 'bin'}{os.pathsep}{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    environment = os.environ | {"PATH": path, "PYTHONPATH": str(PROJECT)}
    printed = ""
    for language, text in pieces(page):
        if language in FILES:
            (folder / FILES[language]).write_text(text, encoding="utf-8")
        elif language in ("sh", "python"):
            command = ["bash", "-ec", text] if language == "sh" else [sys.executable, "-c", text]
            done = subprocess.run(
                command, cwd=folder, env=environment, capture_output=True, text=True, timeout=RUN_TIMEOUT_S, check=False
            )
            assert done.returncode == 0, f"{text}\n{done.stdout}\n{done.stderr}"
            printed += done.stdout
    return printed


def heads(text: str) -> list[str]:
    """What stands before the colon of lines that begin with a word, and names of tasks, sorted; not the area's name."""
    found = re.findall(r"^ {0,2}([A-Z][^:\d\n]*):|^  ([a-z][a-z, ]+?)  ", text, re.MULTILINE)
    return sorted({one or other for one, other in found if not one.startswith("Effort for")})


def absent_files(page: str, folder: Path) -> list[str]:
    """Files that a page names below a folder `out` of its example and that are not there."""
    named = re.findall(r"`((?:\w+/)+out/[\w./]+)`", (GUIDE / page).read_text(encoding="utf-8"))
    return sorted({name for name in named if not (folder / name).exists()})


def test_the_mapper_follows_the_page(folder: Path) -> None:
    """Survey, area file, draft, notes, draft again; every file that is named is there."""
    printed = follow("mapper.md", folder)
    assert "An area file to start from is now in" in printed
    assert "Open first:" in printed
    assert absent_files("mapper.md", folder) == []
    tables = (GUIDE / "columns.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `([\w./]+)` \|", tables, re.MULTILINE)
    files = [name for name in rows if "." in name or "/" in name]
    out = folder / "tarnlow" / "out"
    assert len(files) > 15
    assert [name for name in files if not (out / name).exists() and not (out / "rasters" / name).exists()] == []


def test_the_club_follows_the_page(folder: Path) -> None:
    """The count has a line for contours and one for something proposed or drawn in rock."""
    printed = follow("club.md", folder)
    (shown,) = [text for language, text in pieces("club.md") if language == "text"]
    assert heads(shown) == [head for head in heads(printed) if head in heads(shown)]
    assert "The range is wide because" in " ".join(printed.split())
    assert re.search(r"^101 +Contour +draft +\d+", printed, re.MULTILINE), printed
    assert absent_files("club.md", folder) == []


@pytest.mark.skipif(
    not os.environ.get("TUSSOCK_ALL_PAGES"), reason="TUSSOCK_ALL_PAGES is not set; the mapper's page has its commands"
)
def test_the_keeper_of_maps_follows_the_page(folder: Path) -> None:
    """The old map's path is in the draft, with its source."""
    follow("refresh.md", folder)
    assert absent_files("refresh.md", folder) == []
    assert not (folder / "failed.txt").exists()
    borrowed = (folder / "areas/tarnlow/out/report/borrowed.json").read_text(encoding="utf-8")
    assert "Map of the club, 2014" in borrowed
