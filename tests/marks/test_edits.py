"""What a mapper changes in draft.gpkg stays, bit for bit, however often the draft is made again."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import LineString, Point

from pipeline.files.found.marks import read_marks, write_marks
from pipeline.files.found.walks import read_layers
from pipeline.files.layers import write_layers
from pipeline.marks.apply import apply_marks
from pipeline.marks.edits import as_written, edits_between
from pipeline.marks.mark import Kept
from pipeline.marks.merging import merged
from tests.marks.drafts import CRS, EAST, NORTH, Layers, made_draft, written

KINDS = ("status", "geometry", "height", "note", "delete", "nothing")
WORDS = ("confirmed", "rejected", "moved", "look again", "candidate")


def edited(draft: Layers, changes: list[tuple[str, float]], added: list[float]) -> Layers:
    """A copy with one change a row of all layers, and boulders added."""
    found, left = {}, list(changes)
    for name, table in draft.items():
        copy = table.copy()
        for row in copy.index:
            kind, by = left.pop(0) if left else ("nothing", 0.0)
            if kind == "status":
                copy.loc[row, "status"] = WORDS[int(abs(by) * 7) % len(WORDS)]
            elif kind == "geometry":
                copy.loc[row, "geometry"] = affinity.translate(copy.geometry[row], by + 0.1, -by / 3)
            elif kind == "height":
                copy.loc[row, "height_m"] = by
            elif kind == "note":
                copy.loc[row, "my_note"] = f"note {by}"
            elif kind == "delete":
                copy = copy.drop(index=row)
        found[name] = copy
    new = gpd.GeoDataFrame(
        {"symbol": ["205"] * len(added)},
        geometry=[Point(EAST + by, NORTH - 100 - 10 * k) for k, by in enumerate(added)],
        crs=CRS,
    )
    if added:
        joined = pd.concat([found["rock_point"], new], ignore_index=True)
        found["rock_point"] = gpd.GeoDataFrame(joined, geometry="geometry", crs=CRS)
    return found


def taken_in(before: Layers, after: Layers, kept: Kept) -> Kept:
    """The marks with the edits between two states."""
    found = edits_between(before, after, kept.by_id, source="draft.gpkg", at="2026-11-28T10:00:00")
    return merged(kept, found.marks, at="2026-11-28T10:00:00", source="draft.gpkg", withdrawn=found.withdrawn)


number = st.floats(-30, 30, allow_nan=False).filter(lambda by: abs(by) > 1e-3)


@settings(max_examples=15)
@given(
    st.lists(st.tuples(st.sampled_from(KINDS), number), max_size=11),
    st.lists(number, max_size=2, unique=True),
    st.integers(0, 3),
)
def test_edits_survive_reruns_bit_for_bit(changes: list[tuple[str, float]], added: list[float], slip: int) -> None:
    """A draft is edited, taken in, and made again three times, once with other ids: what was written is all there."""
    base = made_draft()
    after = edited(base, changes, added)
    kept = taken_in(written(base), after, Kept(crs=CRS))
    kept = Kept.model_validate_json(kept.model_dump_json())
    if slip == 1:
        base = {name: table.assign(id=[f"{one}-other" for one in table["id"]]) for name, table in base.items()}
    found = apply_marks(base, kept.marks).layers
    for name, table in after.items():
        _same_edits(table, found[name], made_draft()[name])
    again = taken_in(as_written(found, {}), found, kept)
    assert again.marks == kept.marks, "a draft that nobody touched since has no edits"
    twice = apply_marks(base, again.marks).layers
    for name, table in found.items():
        pd.testing.assert_frame_equal(pd.DataFrame(table), pd.DataFrame(twice[name]))


def _same_edits(edited: gpd.GeoDataFrame, found: gpd.GeoDataFrame, base: gpd.GeoDataFrame) -> None:
    """Every value that was changed, every shape moved or drawn, and every row struck out, is as it was left."""
    by_id, first = found.set_index("id"), base.set_index("id")
    struck = set(base["id"]) - set(edited["id"].dropna())
    assert not struck & set(by_id.index)
    for _, row in edited.iterrows():
        if pd.isna(row["id"]):
            same = found.geometry.apply(lambda shape, wanted=row["geometry"]: shape.equals_exact(wanted, 0))
            assert (found.loc[same, "origin"] == "field").any()
        else:
            if not row["geometry"].equals_exact(first.geometry[row["id"]], 0):
                assert by_id.geometry[row["id"]].equals_exact(row["geometry"], 0)
            for column in edited.columns.drop(["geometry", "id"]):
                before = first.loc[row["id"]].get(column)
                if not pd.isna(row[column]) and row[column] != before:
                    assert by_id.loc[row["id"], column] == row[column]


def test_a_rejected_feature_does_not_come_back_under_another_id() -> None:
    """A boulder moved by a decimetre, and a path in two pieces, with new ids, are known for what was rejected."""
    base = made_draft()
    after = {name: table.copy() for name, table in base.items()}
    after["rock_point"].loc[0, "status"] = "rejected"
    after["manmade_line"].loc[0, "status"] = "rejected"
    kept = taken_in(written(base), after, Kept(crs=CRS))
    again = made_draft()
    again["rock_point"].loc[0, ["id", "geometry"]] = ["other", Point(EAST + 0.4, NORTH + 0.1)]
    line = base["manmade_line"].geometry[0]
    middle = line.interpolate(0.5, normalized=True)
    halves = [LineString([line.coords[0], middle]), LineString([middle, line.coords[1]])]
    pieces = again["manmade_line"].loc[[0, 0, 1]].reset_index(drop=True)
    pieces["id"] = ["p", "q", "path1"]
    pieces["geometry"] = [*halves, pieces.geometry[2]]
    again["manmade_line"] = pieces
    applied = apply_marks(again, kept.marks)
    rock, ways = applied.layers["rock_point"], applied.layers["manmade_line"]
    assert "other" not in set(rock["id"])
    assert rock.set_index("id").loc["boulder0", "status"] == "rejected"
    assert sorted(ways["id"]) == ["path0", "path1"]
    assert len(applied.gone) == 3


def test_a_neighbour_of_a_rejected_boulder_stays() -> None:
    """What was rejected by id takes no other boulder with it, near as that is."""
    base = made_draft()
    base["rock_point"].loc[1, "geometry"] = Point(EAST + 2, NORTH)
    after = {name: table.copy() for name, table in base.items()}
    after["rock_point"].loc[0, "status"] = "rejected"
    kept = taken_in(written(base), after, Kept(crs=CRS))
    assert set(apply_marks(base, kept.marks).layers["rock_point"]["id"]) == set(base["rock_point"]["id"])


def test_a_copy_of_a_part_rejects_nothing() -> None:
    """Thirty boulders missing of forty are a selection that was saved; three are struck out."""
    base = made_draft(40)
    part = {"rock_point": base["rock_point"].iloc[:10]}
    found = edits_between(written(base), part, {}, source="part.gpkg", at="")
    assert not found.marks
    assert any("lacks 30 rows of 40" in warning for warning in found.warnings)
    few = edits_between(written(base), {"rock_point": base["rock_point"].iloc[3:]}, {}, source="x", at="")
    assert [mark.status for mark in few.marks] == ["rejected"] * 3


def test_a_mark_can_be_taken_back() -> None:
    """Who sets `status` back to what the draft proposed has said nothing."""
    base = made_draft()
    after = {name: table.copy() for name, table in base.items()}
    after["rock_point"].loc[1, "status"] = "rejected"
    kept = taken_in(written(base), after, Kept(crs=CRS))
    marked = apply_marks(base, kept.marks).layers
    back = {name: table.copy() for name, table in marked.items()}
    back["rock_point"].loc[1, "status"] = "candidate"
    stated = {"boulder1": (0.35, "candidate", False)}
    assert taken_in(as_written(marked, stated), back, kept).marks == []


def test_a_copy_in_degrees_through_a_file_is_no_change(tmp_path: Path) -> None:
    """A draft saved in WGS 84 and read back differs by micrometres and is not edited; a real move is one."""
    base = made_draft()
    base["rock_point"].loc[2, "geometry"] = Point(EAST + 41.9, NORTH)
    write_layers(tmp_path / "copy.gpkg", {name: table.to_crs(4326) for name, table in base.items() if len(table)})
    copy = {name: table.to_crs(CRS) for name, table in read_layers(tmp_path / "copy.gpkg").items()}
    found = edits_between(written(made_draft()), copy, {}, source="copy.gpkg", at="", is_exact=False)
    assert [(mark.id, mark.status) for mark in found.marks] == [("boulder2", "moved")]


def test_marks_on_disk_are_the_same_marks(tmp_path: Path) -> None:
    """Coordinates with all their digits, nothing for what is missing, and equal bytes for equal marks."""
    base = made_draft()
    base["vegetation_area"].loc[0, "geometry"] = shapely.affinity.rotate(base["vegetation_area"].geometry[0], 0.123)
    kept = taken_in(written(made_draft()), base, Kept(crs=CRS))
    write_marks(tmp_path / "a.json", kept)
    assert read_marks(tmp_path / "a.json", CRS) == kept
    write_marks(tmp_path / "b.json", read_marks(tmp_path / "a.json", CRS))
    assert (tmp_path / "a.json").read_bytes() == (tmp_path / "b.json").read_bytes()
    assert np.isclose(kept.marks[0].was.confidence, 0.7) if kept.marks[0].was else False


def test_areas_give_way_to_what_a_mapper_drew() -> None:
    """A clearing drawn across a thicket cuts it in two; a candidate and what the mapper drew himself are not cut."""
    base = made_draft()
    thicket = base["vegetation_area"].geometry[0]
    proposed = base["vegetation_area"].assign(id="proposed", status="candidate")
    base["vegetation_area"] = pd.concat([base["vegetation_area"], proposed], ignore_index=True)
    west, south, east, north = thicket.bounds
    clearing = shapely.box(west + 10, south - 5, west + 20, north + 5)
    after = {name: table.copy() for name, table in base.items()}
    row = gpd.GeoDataFrame({"symbol": ["401"]}, geometry=[clearing], crs=CRS)
    after["vegetation_area"] = pd.concat([after["vegetation_area"], row], ignore_index=True)
    kept = taken_in(written(base), after, Kept(crs=CRS))
    found = apply_marks(base, kept.marks).layers["vegetation_area"].set_index("id")
    assert found.geometry["thicket"].area == pytest.approx((east - west - 20) * (north - south))
    assert found.geometry["thicketa"].area == pytest.approx(10 * (north - south))
    assert found.geometry["proposed"].equals_exact(thicket, 0)
    assert found.loc[found["symbol"] == "401"].geometry.iloc[0].equals_exact(clearing, 0)
    assert list(found["confidence"][["thicket", "thicketa"]]) == [0.7, 0.7]
    drawn = found[found["status"] != "candidate"].geometry
    assert drawn.union_all().area == pytest.approx(drawn.area.sum())
