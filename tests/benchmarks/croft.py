"""How many thin lines of an invented farm are drawn, and how many of those drawn are some.

Run: python -m tests.benchmarks.croft 1 2 3        seeds of farms that nothing was fitted to
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import shapely
from shapely.geometry import LineString

from pipeline.features import WAYS
from tests.benchmarks.sizes import draft_watched
from tests.croft import make_croft, write_croft
from tests.runs import layers_of

PULSES_PER_M2 = 6.0
NEAR_M = {"footpath": 3.0, "lane": 4.0, "ditch": 3.0, "hedge": 3.0, "wall": 2.0}
"""How far from its true course, in metres, a line of each kind is still drawn there."""
FIELD_AROUND_M = 5.0
"""How far around hedges and walls the fields are looked at, metres."""
DRAWN_AS = {
    "footpath": WAYS,
    "lane": WAYS,
    "ditch": ("304", "305", "306"),
    "hedge": ("416", "410"),
    "wall": ("513", "514", "515"),
}
"""Symbols that draw each kind; a hedge may be an area of fight."""


@dataclass(frozen=True)
class Found:
    """Metres of a kind, all in all or of several farms together.

    Attributes
    ----------
    true_m : length of the true courses
    met_m : of them with a symbol of the kind near
    drawn_m : length of lines with a symbol of the kind
    right_m : of them near a true course that the symbol may stand for
    """

    true_m: float = 0.0
    met_m: float = 0.0
    drawn_m: float = 0.0
    right_m: float = 0.0

    def __add__(self, other: Found) -> Found:
        """Both together."""
        pairs = zip(vars(self).values(), vars(other).values(), strict=True)
        return Found(*(one + two for one, two in pairs))

    @property
    def recall(self) -> float:
        """Share of what is there that is drawn; 1 where nothing is there."""
        return self.met_m / self.true_m if self.true_m else 1.0

    @property
    def precision(self) -> float:
        """Share of what is drawn that is there; 1 where nothing is drawn."""
        return self.right_m / self.drawn_m if self.drawn_m else 1.0


def score(
    layers: dict[str, gpd.GeoDataFrame], true: dict[str, list[LineString]], covered: shapely.Geometry, /
) -> dict[str, Found]:
    """What a draft found of each kind within what the tiles cover.

    Hedges are looked for in the fields: in the wood 416 is the edge of a stand.
    """
    fields = shapely.box(*shapely.buffer(shapely.union_all(true["hedge"] + true["wall"]), FIELD_AROUND_M).bounds)
    drawn = [(row.symbol, row.geometry) for layer in layers.values() for row in layer.itertuples()]
    found = {}
    for kind, symbols in DRAWN_AS.items():
        within = shapely.intersection(covered, fields) if kind == "hedge" else covered
        courses = shapely.intersection(shapely.union_all(true[kind]), within)
        same = [other for other, theirs in DRAWN_AS.items() if theirs == symbols]
        may_be = shapely.union_all([shapely.buffer(shapely.union_all(true[other]), NEAR_M[other]) for other in same])
        mine = [shape for symbol, shape in drawn if symbol in symbols]
        lines = shapely.intersection(
            shapely.union_all([shape for shape in mine if shapely.get_dimensions(shape) == 1]), within
        )
        met = shapely.intersection(courses, shapely.buffer(shapely.union_all(mine), NEAR_M[kind]))
        right = shapely.intersection(lines, may_be)
        found[kind] = Found(courses.length, met.length, lines.length, right.length)
    return found


def measured(seed: int, folder: Path, /) -> dict[str, Found]:
    """Make, fly and draft one farm."""
    croft = make_croft(seed=seed)
    tiles = write_croft(croft, folder / "tiles", seed=seed, pulses_per_m2=PULSES_PER_M2)
    return score(layers_of(draft_watched(tiles, folder)[0]), croft.true_lines(), croft.covered())


def main() -> None:
    """A table of all farms together."""
    total = dict.fromkeys(DRAWN_AS, Found())
    for seed in map(int, sys.argv[1:]):
        with tempfile.TemporaryDirectory(prefix="tussock-croft-") as name:
            found = measured(seed, Path(name))
        total = {kind: total[kind] + found[kind] for kind in total}
    print("kind       there m   drawn m  recall precision")
    for kind, one in total.items():
        print(f"{kind:9} {one.true_m:8.0f} {one.drawn_m:9.0f} {one.recall:7.2f} {one.precision:9.2f}")


if __name__ == "__main__":
    main()
