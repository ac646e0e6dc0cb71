"""Marks from the forest that an earlier draft does not show yet stand in the refresh all the same."""

from dataclasses import replace
from pathlib import Path

import pytest
from shapely.geometry import Point

from pipeline.errors import InputError
from pipeline.files.found.marks import write_marks
from pipeline.files.known_drafts import note_as_known
from pipeline.files.layers import write_layers
from pipeline.marks.mark import Kept, Mark, Was
from pipeline.refresh.old.found import with_marks
from pipeline.refresh.old.old_map import GivenLayer, OldMap
from pipeline.steps.refresh.old import AS_WRITTEN, Place, read_old
from tests.refresh.edited import CRS, EAST, NORTH, Layers, draft_of, write_draft

PLACES = [Point(EAST + 40 * k, NORTH + 30) for k in range(1, 6)]
MOVED = Point(EAST + 1 / 3, NORTH + 200.1)


def draft() -> Layers:
    """Five boulders."""
    return draft_of([("204", place) for place in PLACES])


def marks_on(ids: list[str]) -> list[Mark]:
    """A boulder confirmed, one rejected, one moved, one taken out; the last one was only walked past."""
    base = [
        Mark(id=name, status="seen", symbol="204", layer="rock_point", geometry=place, at="2026-05-02", was=was(place))
        for name, place in zip(ids, PLACES, strict=True)
    ]
    return [
        base[0].model_copy(update={"status": "confirmed"}),
        base[1].model_copy(update={"status": "rejected"}),
        base[2].model_copy(update={"status": "moved", "geometry": MOVED, "has_moved": True}),
        base[3].model_copy(update={"status": "rejected", "is_deleted": True}),
        base[4],
    ]


def was(place: Point) -> Was:
    """A boulder as the draft proposed it."""
    return Was(symbol="204", confidence=0.8, status="draft", geometry=place)


def run_with_marks(folder: Path, *, crs: str = CRS) -> list[str]:
    """A run of an area in whose draft nothing of what was found on foot is drawn in; the ids of its boulders."""
    layers = draft()
    out = write_draft(folder / "out", layers)
    (out / AS_WRITTEN).parent.mkdir()
    write_layers(out / AS_WRITTEN, layers)
    note_as_known(out / "draft.gpkg")
    (folder / "area.yaml").write_text("name: Old\ntiles: none\nmap_date: 2027-04-10\nout: out\n", encoding="utf-8")
    ids = [str(name) for name in layers["rock_point"]["id"]]
    write_marks(folder / "area.marks.json", Kept(crs=crs, marks=marks_on(ids)))
    return ids


def read(path: Path) -> OldMap:
    """An earlier run for an area elsewhere."""
    return read_old(path, Place(CRS, (EAST, NORTH, EAST + 600, NORTH + 600), path / "new"))


@pytest.mark.parametrize("named", ["", "out", "area.yaml"])
def test_marks_not_drawn_yet_are_drawn_in(tmp_path: Path, named: str) -> None:
    """Whichever way the run is named; what was taken out or moved away is known to have been there."""
    ids = run_with_marks(tmp_path)
    before = (tmp_path / "out" / "draft.gpkg").read_bytes()
    found = read(tmp_path / named if named else tmp_path)
    rows = found.given.set_index("id")
    assert dict(rows["status"]) == dict(
        zip([*ids[:3], ids[4]], ["confirmed", "rejected", "moved", "draft"], strict=True)
    )
    assert list(rows.loc[ids, "is_kept"] if ids[3] in rows.index else rows["is_kept"]) == [True, True, True, False]
    assert rows.geometry[ids[2]].equals_exact(MOVED, 0.0)
    assert found.struck is not None
    assert set(found.struck["id"]) == {ids[2], ids[3]}
    assert any("4 marks of 'tussock notes'" in note and "were drawn in" in note for note in found.notes)
    assert (tmp_path / "out" / "draft.gpkg").read_bytes() == before


def test_what_is_drawn_already_is_left_alone() -> None:
    """Drawn in once, the marks wait no more; and what was changed in the draft itself since is the later word."""
    layers = [GivenLayer(name, table, CRS) for name, table in draft().items() if len(table)]
    ids = [str(name) for name in layers[0].table["id"]]
    marks = marks_on(ids)
    first = with_marks(layers, marks, changed=())
    assert first.n_marks == 4
    assert with_marks(first.layers, marks, changed=()).n_marks == 0
    later = with_marks(layers, marks, changed={ids[0], ids[3]})
    assert later.n_marks == 2
    assert list(later.layers[0].table.set_index("id").loc[[ids[0], ids[3]], "status"]) == ["draft", "draft"]
    moved_back = replace(first.layers[0], table=first.layers[0].table.assign(status="confirmed"))
    assert with_marks([moved_back], marks, changed=()).n_marks == 2


def test_marks_of_another_system_are_refused(tmp_path: Path) -> None:
    """They would be drawn elsewhere."""
    run_with_marks(tmp_path, crs="EPSG:25833")
    with pytest.raises(InputError, match=r"marks\.json: holds marks in EPSG:25833"):
        read(tmp_path)


def test_what_was_drawn_in_the_styled_draft_is_the_mappers(tmp_path: Path) -> None:
    """It is a copy of the draft to draw in: what differs from the draft as written was changed, without any status."""
    run_with_marks(tmp_path)
    (tmp_path / "area.marks.json").unlink()
    out = tmp_path / "out"
    layers = draft()
    boulders = layers["rock_point"]
    layers["rock_point"] = boulders.set_geometry([MOVED, *boulders.geometry[1:4], boulders.geometry[4]])
    (out / "exports").mkdir()
    (out / "manifest.json").write_text("{}")
    write_layers(out / "exports" / "draft_styled.gpkg", layers)
    found = read(out / "exports" / "draft_styled.gpkg")
    assert list(found.given["is_kept"]) == [True, False, False, False, False]
    assert found.knows_edits
    write_layers(tmp_path / "copy.gpkg", layers)
    elsewhere = read(tmp_path / "copy.gpkg")
    assert not elsewhere.knows_edits
    assert not elsewhere.given["is_kept"].any()
