"""The last words of a refresh."""

from pipeline.advice.refreshed import MOST_PLACES, WIDEST, Ended, describe_ended

PLACE = {
    "change": "felled",
    "sure": 0.9,
    "why": "the canopy was 18 m high on average over 2400 m2, and now is 0.4 m high",
}
TOLD: dict[str, object] = {
    "dates": {"old": ["2016-05-02", "2016-05-03"], "new": ["2026-04-11"]},
    "seasons": {"old": "leaf-on", "new": "unknown"},
    "shift": {"east_m": 0.12, "north_m": -0.4, "up_m": 0.03, "how": "from the relief of the bare earth"},
    "datum": "",
    "tilt": "",
    "counts": {"unchanged": 190, "gone": 10},
    "patches": {"built": 1, "felled": 7},
    "places": [PLACE | {"name": f"C{number:03d}"} for number in range(1, 9)],
    "verified_unchanged": 0.9,
    "cannot_tell": ["Of 8% of the area the ground is not seen by both surveys."],
}


def said(**told: object) -> list[str]:
    """The lines, with other findings."""
    ended = Ended(
        "Hollin",
        "areas/hollin/out",
        "old.gpkg",
        "areas/hollin",
        ["changes.gpkg"],
        TOLD | told,
        read_as=("Read as a draft.",),
    )
    return describe_ended(ended).splitlines()


def test_changes_come_first() -> None:
    """Their number, kind by kind, then the places most worth a look, and then all else."""
    lines = said()
    assert lines[0] == "Hollin: 8 places changed on the ground since old.gpkg:"
    assert [line.split() for line in lines[1:3]] == [["7", "felled"], ["1", "built"]]
    assert sum(line.startswith("  C0") for line in lines) == MOST_PLACES
    assert "  and 3 more places in fieldwork/changes_list.csv" in lines
    order = ["C001", "Of 200 features", "Read as a draft.", "Open first", "tussock refresh --undo areas/hollin"]
    found = [next(row for row, line in enumerate(lines) if words in line) for words in order]
    assert found == sorted(found)
    assert max(map(len, lines)) <= WIDEST


def test_what_is_known_of_the_surveys_is_said() -> None:
    """Dates and leaves as far as they are known; of a drawn map how it lies, and not a shift of surveys."""
    text = " ".join(said())
    assert "then flown 2016-05-02 to 2016-05-03, leaves out; now flown 2026-04-11." in text
    assert "+0.12 m east, -0.40 m north" in text
    drawn = " ".join(said(lies="The old map lies 3.1 m off lidar."))
    assert "3.1 m off lidar" in drawn
    assert "0.12 m east" not in drawn
    nothing = {"old": [], "new": []}, {"old": "unknown", "new": "unknown"}
    assert "The surveys:" not in " ".join(said(dates=nothing[0], seasons=nothing[1]))


def test_nothing_changed_is_said_as_such() -> None:
    """Without a table of nothing."""
    lines = said(patches={}, places=[], counts={"unchanged": 200})
    assert lines[0] == "Hollin: nothing was found that changed on the ground since old.gpkg."
    assert not any("worth a look" in line for line in lines)
