"""The rooms as `docs/rooms.png` and `docs/rooms.txt` show them are the rooms as they are."""

from pathlib import Path

from PIL import Image

from docs import make_rooms
from tests.architecture.test_layers import SOUND, made_up
from tests.rooms import PIPELINE, Tree, cycles, depths, text_of


def test_text_and_picture_are_those_of_the_imports_of_today() -> None:
    """The picture carries the text it was drawn from; both are made by `make rooms`."""
    now = text_of(Tree(PIPELINE))
    assert make_rooms.TEXT.read_text(encoding="utf-8") == now, "run 'make rooms' and look at docs/rooms.png"
    assert Image.open(make_rooms.PICTURE).info["rooms"] == now, "run 'make rooms' and look at docs/rooms.png"


def test_a_new_import_changes_the_text(tmp_path: Path) -> None:
    """The text sees one import more, so a stale one is told from a fresh one."""
    before = text_of(made_up(tmp_path / "a", SOUND))
    after = text_of(made_up(tmp_path / "b", SOUND, {"terrain/two": "from pipeline.lattice import one\n"}))
    assert "terrain (1): -" in before
    assert "terrain (2): lattice" in after


def test_every_room_has_a_box_below_the_rooms_it_imports(tmp_path: Path) -> None:
    """Lines lead down the picture: each room lies wholly below those it imports, where there is no ring."""
    tree = made_up(tmp_path, SOUND, {"points/two": "from pipeline.terrain import one\n"})
    boxes, _, height = make_rooms.place_rooms(tree)
    assert not cycles(tree)
    assert set(boxes) == set(tree.rooms)
    assert max(box.bottom for box in boxes.values()) < height
    assert tree.edges
    for importer, imported in tree.edges:
        assert boxes[importer].top > boxes[imported].bottom, (importer, imported)


def test_no_two_boxes_overlap() -> None:
    """Every room of the project can be read."""
    boxes, _, _ = make_rooms.place_rooms(Tree(PIPELINE))
    named = list(boxes.items())
    for number, (room, one) in enumerate(named):
        for other, two in named[number + 1 :]:
            beside = one.right <= two.left or two.right <= one.left
            above = one.bottom <= two.top or two.bottom <= one.top
            assert beside or above, (room, other)


def test_depth_counts_the_longest_way_down(tmp_path: Path) -> None:
    """A chain of three rooms has depths 0, 1, 2 whatever shorter way there is; a ring is one storey."""
    tree = made_up(
        tmp_path,
        {"a/m": "", "b/m": "import pipeline.a.m\n", "c/m": "import pipeline.a.m\nimport pipeline.b.m\n"},
        {"d/m": "import pipeline.e.m\nimport pipeline.c.m\n", "e/m": "import pipeline.d.m\n"},
    )
    assert depths(tree) == {"a": 0, "b": 1, "c": 2, "d": 3, "e": 3}


def test_lines_that_follow_from_others_are_left_out(tmp_path: Path) -> None:
    """Steps import the draft of rock and its boulders; the second line follows from the first."""
    added = {"steps/two": "import pipeline.rock.draft\nimport pipeline.rock.boulders.caps\n"}
    lines = make_rooms.lines_drawn(made_up(tmp_path, SOUND, added))
    assert ("steps", "rock") in lines
    assert ("rock", "rock/boulders") in lines
    assert ("steps", "rock/boulders") not in lines
