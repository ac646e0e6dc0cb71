"""A mapper's word stands, whatever new surveys show."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from shapely.geometry import LineString, Point

from pipeline.errors import InputError
from pipeline.files.earlier.written import MAP, read_log
from pipeline.marks.matching import family_of
from pipeline.refresh.register.shift import Shift
from pipeline.steps.refresh.keep import begin, keep_work, note_step, undo
from pipeline.steps.refresh.old import Place, read_old, with_later_edits
from tests.refresh.edited import (
    CRS,
    EAST,
    NORTH,
    SIDE_M,
    Layers,
    draft_of,
    edit,
    lost,
    overwrite,
    surveyed,
    true_features,
    write_draft,
)

BOUNDS = (EAST, NORTH, EAST + SIDE_M, NORTH + SIDE_M)
N_EDITS, N_REFRESHES = 200, 10


def refresh(old: Path, out: Path) -> None:
    """A refresh without the comparison, which writes nothing into the map."""
    read = read_old(old, Place(CRS, BOUNDS, out))
    before = begin(out)
    read = with_later_edits(read, CRS, out)
    kept = keep_work(read, out, read.features.geometry.to_numpy(), shift=Shift(), more_m=0.5)
    note_step(read, out, kept, before)


def all_of(path: Path) -> gpd.GeoDataFrame:
    """All features of a map."""
    names = [name for name, _ in pyogrio.list_layers(path) if not str(name).startswith("technical")]
    return gpd.GeoDataFrame(pd.concat([gpd.read_file(path, layer=name) for name in names], ignore_index=True))


@pytest.fixture(scope="module")
def refreshed(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[Path], gpd.GeoDataFrame]:
    """The folders of ten refreshes, one of the other, each with other tiles; and the edited rows of the first draft."""
    folder = tmp_path_factory.mktemp("refreshes")
    truth = true_features(3)
    first = write_draft(folder / "old", surveyed(truth, 0, tile_m=150))
    tables, rows = edit(_read(first), N_EDITS, 5)
    overwrite(first / "draft.gpkg", tables)
    before, folders = first, []
    for number in range(N_REFRESHES):
        out = write_draft(folder / f"new{number}", surveyed(truth, number + 1, tile_m=90 + 37 * number))
        refresh(before, out)
        folders.append(out)
        before = out
    return folders, rows


def _read(folder: Path) -> Layers:
    names = [str(name) for name, _ in pyogrio.list_layers(folder / "draft.gpkg")]
    return {name: gpd.read_file(folder / "draft.gpkg", layer=name) for name in names}


@pytest.mark.slow
def test_200_edits_survive_ten_refreshes_bit_for_bit(refreshed: tuple[list[Path], gpd.GeoDataFrame]) -> None:
    """Geometry and every column of what a mapper said are the same after each of ten refreshes with other tiles."""
    folders, rows = refreshed
    assert len(rows) == N_EDITS
    for folder in folders:
        assert lost(rows, folder / MAP) == []


@pytest.mark.slow
def test_a_lost_edit_is_seen(refreshed: tuple[list[Path], gpd.GeoDataFrame], tmp_path: Path) -> None:
    """The check above fails where a coordinate differs in its last bit, a value differs, or a row is gone."""
    folders, rows = refreshed
    tables = {str(n): gpd.read_file(folders[0] / MAP, layer=n) for n, _ in pyogrio.list_layers(folders[0] / MAP)}
    points = tables["rock_point"]
    own = np.flatnonzero(points["status"].isin(["confirmed", "moved", "rejected"]))[:3]
    nudged = shapely.transform(points.geometry[own[0]], lambda p: np.nextafter(p, np.inf))
    points.loc[[own[0]], "geometry"] = [nudged]
    points.loc[own[1], "height_m"] = 1.26
    tables["rock_point"] = points.drop(index=own[2])
    path = tmp_path / "changed.gpkg"
    path.touch()
    overwrite(path, tables)
    assert len(lost(rows, path)) == 3


@pytest.mark.slow
def test_rejected_features_do_not_come_back(refreshed: tuple[list[Path], gpd.GeoDataFrame]) -> None:
    """No survey brings a point back that was rejected, nor doubles one that is confirmed."""
    folders, rows = refreshed
    said = rows[rows.geom_type.eq("Point")]
    assert len(said) > 40
    for folder in folders:
        fresh = all_of(folder / MAP)
        fresh = fresh[fresh["status"].eq("draft") & fresh.geom_type.eq("Point")]
        assert len(fresh) > 10
        for symbol, place in zip(said["symbol"], said.geometry, strict=True):
            alike = fresh[[family_of(other) == family_of(symbol) for other in fresh["symbol"]]]
            assert alike.distance(place).min() > 4.0


def one_edit(tmp_path: Path, old: Layers, new: Layers, **changed: object) -> gpd.GeoDataFrame:
    """The refreshed map after one edit of the first boulder."""
    first = write_draft(tmp_path / "old", old)
    tables = _read(first)
    for name, value in changed.items():
        tables["rock_point"].loc[0, name] = value
    overwrite(first / "draft.gpkg", tables)
    out = write_draft(tmp_path / "new", new)
    refresh(first, out)
    return all_of(out / MAP)


def test_a_moved_boulder_does_not_come_back_where_it_was(tmp_path: Path) -> None:
    """A boulder put 30 m away is not drawn a second time at its old place; its neighbour of the same kind is."""
    old = draft_of([("204", Point(EAST + 100.5, NORTH + 100.5))])
    new = draft_of([("204", Point(EAST + 101.0, NORTH + 100.2)), ("204", Point(EAST + 131.0, NORTH + 160.0))])
    found = one_edit(tmp_path, old, new, status="moved", geometry=Point(EAST + 130, NORTH + 100))
    assert sorted(found.geometry.x.round(1)) == [EAST + 130, EAST + 131]


def test_a_neighbour_of_a_confirmed_boulder_stays(tmp_path: Path) -> None:
    """A boulder 6 m beside a confirmed one that the new survey does not show is another boulder."""
    old = draft_of([("204", Point(EAST + 97.0, NORTH + 97.0))])
    new = draft_of([("204", Point(EAST + 102.5, NORTH + 100.5))])
    assert len(one_edit(tmp_path, old, new, status="confirmed")) == 2


def test_what_nobody_confirmed_is_drawn_anew(tmp_path: Path) -> None:
    """Features of the old draft without a word of a mapper's give way to the new draft."""
    old = draft_of([("204", Point(EAST + 100, NORTH + 100)), ("204", Point(EAST + 200, NORTH + 100))])
    new = draft_of([("204", Point(EAST + 300, NORTH + 100))])
    found = one_edit(tmp_path, old, new, status="confirmed")
    assert sorted(found.geometry.x) == [EAST + 100, EAST + 300]


def test_a_longer_path_adds_what_is_new(tmp_path: Path) -> None:
    """Of a new path that runs on from a confirmed one, only what the mapper does not have is added."""
    old = draft_of([("505", LineString([(EAST + 100, NORTH), (EAST + 200, NORTH)]))])
    first = write_draft(tmp_path / "old", old)
    tables = _read(first)
    tables["manmade_line"].loc[0, "status"] = "confirmed"
    overwrite(first / "draft.gpkg", tables)
    new = draft_of([("504", LineString([(EAST + 100, NORTH + 1), (EAST + 300, NORTH + 1)]))])
    refresh(first, write_draft(tmp_path / "new", new))
    found = all_of(tmp_path / "new" / MAP)
    added = found[found["status"] == "draft"]
    assert len(added) == 1
    assert added.length.iloc[0] == pytest.approx(95.0, abs=1.0)


def test_work_on_the_refreshed_map_stands_when_the_refresh_is_done_again(tmp_path: Path) -> None:
    """What is moved, added or taken out in the refreshed map stays so when the same earlier map is refreshed again."""
    places = [Point(EAST + 40 * k + 0.5, NORTH + 100.5) for k in range(6)]
    first = write_draft(tmp_path / "old", draft_of([("204", place) for place in places[:4]]))
    tables = _read(first)
    tables["rock_point"].loc[:2, "status"] = "confirmed"
    overwrite(first / "draft.gpkg", tables)
    out = write_draft(tmp_path / "new", draft_of([("204", place) for place in places]))
    refresh(first, out)
    layers = {str(n): gpd.read_file(out / MAP, layer=n) for n, _ in pyogrio.list_layers(out / MAP)}
    points = layers["rock_point"]
    rows = [int(points.distance(place).argmin()) for place in places]
    points.loc[[rows[0]], "geometry"] = [Point(EAST, NORTH + 300)]
    points.loc[rows[4], "evidence"] = "seen from the path"
    overwrite(out / MAP, layers | {"rock_point": points.drop(index=[rows[1], rows[5]])})
    for _ in range(2):
        refresh(first, out)
        found = all_of(out / MAP)
        shown = {(round(p.x), round(p.y)) for p in found.geometry}
        assert (round(EAST), round(NORTH + 300)) in shown
        assert (round(places[0].x), round(places[0].y)) not in shown
        assert (round(places[1].x), round(places[1].y)) not in shown
        assert (round(places[5].x), round(places[5].y)) not in shown
        assert (found["evidence"] == "seen from the path").sum() == 1
        assert len(found) == 4


def test_undo_brings_back_the_map_of_before(tmp_path: Path) -> None:
    """Each undo takes one refresh back, byte for byte, and the last one all of it; the log keeps every step."""
    truth = true_features(4, 30)
    out = write_draft(tmp_path / "new", surveyed(truth, 1, tile_m=200))
    states = []
    for number in range(2):
        old = write_draft(tmp_path / f"old{number}", surveyed(truth, 2, tile_m=100))
        tables, _ = edit(_read(old), 20 + number, number)
        overwrite(old / "draft.gpkg", tables)
        refresh(old, out)
        states.append((out / MAP).read_bytes())
    assert states[0] != states[1]
    (out / "report").mkdir(exist_ok=True)
    (out / "report" / "changes.html").write_text("of the second", encoding="utf-8")
    (out / MAP).write_bytes(states[1] + b" ")
    said = undo(out)
    assert str(tmp_path / "old1") in said
    assert "As they were before it: refreshed.gpkg" in said
    assert "Gone, as before it: report/changes.html." in said
    assert "You had changed refreshed.gpkg since" in said
    assert f"the refresh before, from {tmp_path / 'old0'}" in said
    assert (out / MAP).read_bytes() == states[0]
    assert "Gone, as before it: refreshed.gpkg" in undo(out)
    assert not (out / MAP).exists()
    assert [(step.what, step.undoes) for step in read_log(out)] == [
        ("refresh", 0), ("refresh", 0), ("undo", 2), ("undo", 1),
    ]  # fmt: skip
    with pytest.raises(InputError, match="no refresh"):
        undo(out)
