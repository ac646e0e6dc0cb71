"""What the draft remembers of an earlier run changes no byte of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from pipeline.draft.compose import compose_draft
from pipeline.draft.narrow import without_narrow_parts
from pipeline.draft.spacing.contours import bend_apart
from pipeline.features import make_features
from pipeline.files.disk.pieces import pieces_of
from pipeline.remembered import Remembered, and_at_once, nothing_remembered
from tests.paths import symbols

CRS = "EPSG:25832"
OUTLINE = shapely.box(0, 0, 400, 300)
Shapes = NDArray[np.object_]
Metres = NDArray[np.float64]


class Counted:
    """How many pieces were asked for, and how many of them had to be worked out."""

    def __init__(self) -> None:
        self.asked = self.made = 0

    def of(self, remembered: Remembered) -> Remembered:
        """The same, counted, and found again at once as the draft does."""

        def found(
            what: str, made_from: Sequence[bytes], work_out: Callable[[list[int]], Sequence[bytes]], /
        ) -> list[bytes]:
            self.asked += len(made_from)

            def counting(numbers: list[int]) -> Sequence[bytes]:
                self.made += len(numbers)
                return work_out(numbers)

            return remembered(what, made_from, counting)

        return and_at_once(found)

    def some_but_not_all(self) -> bool:
        """Whether the store spared some of the work."""
        return 0 < self.made < self.asked


def some_greens(seed: int, changed: bool = False) -> gpd.GeoDataFrame:
    """Strips of slow forest across white forest, of random width, with lumps of walk on them; three are cut apart.

    Where `changed`, the lumps in the west are others.
    """
    drawn = np.random.default_rng(seed)
    other = np.random.default_rng(seed + 1000)
    slow: list[BaseGeometry] = []
    walk: list[BaseGeometry] = []
    for north in (30.0, 110.0, 190.0, 270.0):
        width = drawn.uniform(2, 25, 20).repeat(2)
        east = np.arange(20).repeat(2) * 20.0 + np.tile([0.0, 8.0], 20)
        edge = np.concatenate([np.column_stack((east, north + width)), np.column_stack((east, north - width))[::-1]])
        strip = shapely.make_valid(shapely.Polygon(edge))
        lumps = [
            shapely.Point(*place).buffer(size) for place, size in zip(edge[::5], drawn.uniform(4, 9, 16), strict=True)
        ]
        if changed:
            lumps = [
                lump if lump.bounds[2] > 120 else affinity.scale(lump, *other.uniform(0.5, 1.4, 2)) for lump in lumps
            ]
        dark = shapely.union_all(lumps)
        slow.extend(shapely.get_parts(shapely.difference(strip, dark)))
        walk.extend(shapely.get_parts(dark))
    shapes = [shapely.intersection(shape, OUTLINE) for shape in (*slow, *walk)]
    made = make_features(shapes, crs=CRS, symbol=["406"] * len(slow) + ["408"] * len(walk), confidence=0.9, evidence="")
    return made[made.geom_type == "Polygon"].reset_index(drop=True).assign(status="drawn")


@pytest.mark.parametrize("seed", [1, 2])
def test_narrow_parts_are_the_same_whatever_is_remembered(seed: int, tmp_path: Path) -> None:
    """A store filled by greens of which some are others gives the bytes of a run from nothing."""
    with pieces_of(tmp_path / "kept.sqlite", "s") as remembered:
        without_narrow_parts(
            some_greens(seed, changed=True), symbols(), outline=OUTLINE, remembered=and_at_once(remembered)
        )
    new, gone = without_narrow_parts(some_greens(seed), symbols(), outline=OUTLINE)
    counted = Counted()
    with pieces_of(tmp_path / "kept.sqlite", "s") as remembered:
        found, also_gone = without_narrow_parts(
            some_greens(seed), symbols(), outline=OUTLINE, remembered=counted.of(remembered)
        )
    assert found.geometry.to_wkb().tolist() == new.geometry.to_wkb().tolist()
    assert also_gone["reason"].tolist() == gone["reason"].tolist()
    assert counted.some_but_not_all()


def some_contours(seed: int, changed: str = "") -> tuple[Shapes, NDArray[np.str_], Shapes, Metres]:
    """Five hillsides apart from each other, of contours that lie too near, one around a top, and marks beside them.

    The first hillside is another where `changed` names what of it: it lies a little beside ("place"), its mark does
    ("mark"), or its third line is longer ("end").
    """
    lines, numbers, marks = [], [], []
    for hill in range(5):
        drawn = np.random.default_rng((seed, hill))
        east = np.arange(0, 90, 6.0)
        base = np.cumsum(drawn.normal(0, 1.5, len(east)))
        for level in range(6):
            north = level * drawn.uniform(2.5, 4.5) + base + drawn.normal(0, 0.4, len(east))
            lines.append(shapely.LineString(np.column_stack((east + 150 * hill, north))))
            numbers.append("102" if level == 2 else "103" if level == 5 else "101")
        ring = shapely.Point(150 * hill + 40, -14).buffer(drawn.uniform(6, 9)).exterior
        lines.append(shapely.LineString(ring.coords))
        numbers.append("101")
        marks.append(shapely.Point(150 * hill + 60, 8 + drawn.uniform(-2, 2)).buffer(3))
    if changed == "place":
        lines[:7] = [affinity.translate(line, 0.25, 0.5) for line in lines[:7]]
    if changed == "end":
        lines[2] = shapely.LineString([*lines[2].coords, (88.0, lines[2].coords[-1][1])])
    if changed == "mark":
        # So little that the same vertices are beside it.
        marks[0] = affinity.translate(marks[0], 0.001, 0.002)
    return np.array(lines, np.object_), np.array(numbers), np.array(marks, np.object_), np.full(len(marks), 2.0)


@pytest.mark.parametrize(("seed", "changed"), [(1, "place"), (2, "mark"), (3, "end")])
def test_contours_bend_the_same_whatever_is_remembered(seed: int, changed: str, tmp_path: Path) -> None:
    """Hillsides that did not change are not bent anew, and the one that did bends as it would from nothing."""
    with pieces_of(tmp_path / "kept.sqlite", "s") as remembered:
        bend_apart(*some_contours(seed, changed), symbols(), remembered)
    new = bend_apart(*some_contours(seed), symbols())
    counted = Counted()
    with pieces_of(tmp_path / "kept.sqlite", "s") as remembered:
        found = bend_apart(*some_contours(seed), symbols(), counted.of(remembered))
    assert shapely.to_wkb(found).tolist() == shapely.to_wkb(new).tolist()
    assert (shapely.to_wkb(new) != shapely.to_wkb(some_contours(seed)[0])).any(), "some are bent"
    assert counted.some_but_not_all()


def test_what_befalls_a_hillside_does_not_depend_on_the_others() -> None:
    """Each bends as it does alone, to the last bit, though all are pushed at once."""
    lines, numbers, marks, gaps = some_contours(3)
    together = bend_apart(lines, numbers, marks, gaps, symbols())
    for hill in range(5):
        own = slice(7 * hill, 7 * hill + 7)
        alone = bend_apart(lines[own], numbers[own], marks[hill : hill + 1], gaps[hill : hill + 1], symbols())
        assert shapely.to_wkb(alone).tolist() == shapely.to_wkb(together[own]).tolist()


def test_a_whole_draft_is_the_same_from_a_store_of_another(tmp_path: Path) -> None:
    """Greens and contours in one draft, all layers and what was left out."""

    def drafted(changed: bool, remembered: Remembered = nothing_remembered) -> list[bytes]:
        lines, numbers, _, _ = some_contours(4, "place" if changed else "")
        moved = shapely.transform(lines, lambda places: places * 0.5 + [20, 100])
        contours = make_features(list(moved), crs=CRS, symbol=numbers.tolist(), confidence=0.9, evidence="")
        made = compose_draft(
            [some_greens(4, changed=changed).drop(columns="status"), contours],
            OUTLINE,
            crs=CRS,
            north_deg=3.0,
            symbols=symbols(),
            remembered=remembered,
        )
        tables = [*made.layers.values(), made.left_out]
        return [table.to_csv().encode() for table in tables]

    store = tmp_path / "kept.sqlite"
    with pieces_of(store, "s") as remembered:
        before = drafted(True, remembered)
    new = drafted(False)
    with pieces_of(store, "s") as remembered:
        assert drafted(False, remembered) == new
    assert before != new
