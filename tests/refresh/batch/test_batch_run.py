"""Many areas in one workflow: one that fails stops no other, and what is done is not done again."""

import csv
from collections import Counter
from pathlib import Path

import pytest

from pipeline.batch import refresh_batch
from pipeline.plan.batch import plan_batch
from tests.made_tiles import made_tile

STUB = Path(__file__).with_name("stub_refresh.sh")
N_AREAS, BROKEN = 20, {"area04": "no symbols", "area11": "no tiles", "area17": "no area file"}
"""Areas of the list, and what is wrong with three of them."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A list of areas of one small tile each, three of them broken in different ways."""
    folder = tmp_path_factory.mktemp("batch")
    tile = made_tile(folder / "tile.laz")
    lines = ["old,area"]
    for number in range(N_AREAS):
        own = folder / f"area{number:02d}"
        own.mkdir()
        tiles = own / "missing.laz" if BROKEN.get(own.name) == "no tiles" else tile
        if BROKEN.get(own.name) != "no area file":
            (own / "area.yaml").write_text(f"name: {own.name}\ntiles: '{tiles}'\nmap_date: 2027-04-10\n")
        (own / "old.txt").write_text("broken" if BROKEN.get(own.name) == "no symbols" else str(number))
        lines.append(f"{own.name}/old.txt,{own.name}/area.yaml")
    (folder / "list.csv").write_text("\n".join(lines) + "\n")
    return folder


def run(folder: Path) -> tuple[int, str]:
    """The batch run with the stub."""
    return refresh_batch(folder / "list.csv", cores=2, memory_mb=4000, refresh=f"sh {STUB}")


def ran(folder: Path) -> Counter[str]:
    """How often each area was worked on since this was asked last."""
    found: Counter[str] = Counter()
    for path in folder.glob("area*/ran"):
        found[path.parent.name] = len(path.read_text(encoding="utf-8").splitlines())
        path.unlink()
    return found


def table(folder: Path) -> list[dict[str, str]]:
    """Rows of `batch.csv`."""
    with (folder / "list_refreshed" / "batch.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_twenty_areas_three_of_them_broken(folder: Path) -> None:
    """17 are done, 3 are named with their reasons; the same command does only what is missing, and what was mended."""
    n_failed, said = run(folder)
    rows = table(folder)
    assert n_failed == 3
    assert "17 areas done, 3 failed." in said
    failed = {row["area"]: row["message"] for row in rows if row["status"] == "failed"}
    assert set(failed) == set(BROKEN)
    assert "holds no symbols" in failed["area04"]
    assert "missing.laz" in failed["area11"]
    assert "area17" in failed["area17"]
    assert all(message in said for message in failed.values())
    assert ran(folder) == Counter(f"area{number:02d}" for number in range(N_AREAS))

    assert run(folder)[0] == 3
    assert set(ran(folder)) == set(BROKEN)

    (folder / "area04" / "old.txt").write_text("4")
    (folder / "area02" / "old.txt").write_text("30")
    assert run(folder)[0] == 2
    assert set(ran(folder)) == {"area02", "area04", "area11", "area17"}
    assert table(folder)[0]["area"] == "area02"
    assert "area17" in (folder / "list_refreshed" / "batch.html").read_text(encoding="utf-8")


def test_a_copy_of_an_old_map_is_as_good(folder: Path) -> None:
    """The same content under a new date is not compared again: content decides, and not dates."""
    batch = plan_batch(folder / "list.csv")
    before = batch.content("area03")
    text = (folder / "area03" / "old.txt").read_text()
    (folder / "area03" / "old.txt").unlink()
    (folder / "area03" / "old.txt").write_text(text)
    assert plan_batch(folder / "list.csv").content("area03") == before
    (folder / "area03" / "old.txt").write_text("31")
    assert plan_batch(folder / "list.csv").content("area03") != before
