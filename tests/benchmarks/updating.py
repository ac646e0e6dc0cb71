"""What a walk teaches about the rest of the check list, on scenes where the truth tells what a mapper would find.

Run: python -m tests.benchmarks.updating SCENE=OUT ...            measure, with the prior that is shipped
     python -m tests.benchmarks.updating --fit SCENE=OUT ...      print the prior that these scenes suggest

SCENE is a folder with the truth of a made scene, OUT the folder of a draft of it. On the list is what the draft itself
would put there: features whose chance of being wrong times what the symbol matters is at least LEAST_VALUE, in the
order of that, over the minutes of looking (`config/looks.csv`); ways between places are left out, as they depend on
where the car stands. Symbols of which the scenes have no truth are on no list here.
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import rasterio
import shapely
from numpy.typing import NDArray
from rasterio.features import geometry_mask
from scipy.spatial import cKDTree

from pipeline.fieldwork.questions.matters import looks
from pipeline.fieldwork.questions.of_draft import LEAST_VALUE, RARELY_WRONG
from pipeline.marks.learning import Evidence, Learned, Prior, learn, on_hardly_seen, stated_before
from tests.benchmarks.results import Table

FIRST_SHARE = 0.3
"""Share of the list that is walked before anything is learned."""
POINTS = {
    "boulder": (("204", "205", "207"), "boulders", "height", 0.8, 3.0),
    "knoll": (("109", "110"), "knolls", "height", 0.6, 6.0),
    "pit": (("111", "112"), "pits", "depth", 0.6, 6.0),
}
"""Kind -> symbols, layer of the truth, its column of size, least size that counts, metres within which it is meant."""
LINES = {
    "cliff": (("201", "202"), "cliffs", 6.0),
    "way": (("502", "503", "504", "505", "506", "507"), "paths", 6.0),
    "ride": (("508",), "rides", 6.0),
    "stream": (("304", "305", "306"), "streams", 10.0),
}
"""Kind -> symbols, layer of the truth, metres. A line is right where at least half of it lies as near to a true one."""
WALLS = (("513", "514"), "walls", 4.0)
BANDS_FROM = (0.1, 0.4, 0.9)
GREENS = ("406", "408", "410")
"""m2/m3 from which the scenes' mapper draws each green."""
OPEN = ("401", "402", "403", "404")
MOST_LOSS_NATS = 0.002
"""What learning may cost in a scene whose confidences are not off: a fit that never costs anything learns nothing."""
N_SIDES = 8
"""Sides of the area that a walk may begin at."""


@dataclass(frozen=True)
class Listed:
    """Features of a draft that a mapper would check, and the truth of each."""

    symbol: NDArray[np.str_]
    stated: NDArray[np.float64]
    hardly_seen: NDArray[np.bool_]
    is_drawn: NDArray[np.bool_]
    is_there: NDArray[np.bool_]
    place: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.symbol)

    def take(self, which: NDArray[np.generic]) -> Listed:
        """The chosen ones."""
        return Listed(*(column[which] for column in vars(self).values()))

    def evidence(self) -> Evidence:
        """What a mapper who checks them all would say."""
        return Evidence(self.symbol, self.stated, self.hardly_seen, self.is_there, np.ones(len(self)))


# ---------------------------------------------------------------- truth


def listed_of(scene: Path, out: Path) -> Listed:
    """All features of a draft whose kind the truth of the scene tells."""
    draft = out / "draft.gpkg"
    layers = {str(name): gpd.read_file(draft, layer=name) for name in pyogrio.list_layers(draft)[:, 0]}
    unseen = list(layers["technical_area"].geometry[layers["technical_area"]["symbol"] == "600.1"])
    told = stated_before(layers, Learned())
    parts = []
    for table in layers.values():
        main = table["symbol"].astype(str).str.partition(".")[0].to_numpy(str) if len(table) else np.array([], str)
        there = [_truth_of(scene, symbol, shape) for symbol, shape in zip(main, table.geometry, strict=True)]
        known = np.array([one is not None for one in there], bool)
        rows = table[known]
        if rows.empty:
            continue
        parts.append(
            Listed(
                rows["symbol"].to_numpy(str),
                np.array([told[str(name)][0] for name in rows["id"]]),
                on_hardly_seen(rows, unseen),
                (rows["status"] != "candidate").to_numpy(),
                np.array([one for one in there if one is not None], bool),
                shapely.get_coordinates(shapely.centroid(rows.geometry.to_numpy())),
            )
        )
    return joined(parts)


def joined(parts: Sequence[Listed]) -> Listed:
    """Several lists in one."""
    return Listed(*(np.concatenate(column) for column in zip(*(vars(part).values() for part in parts), strict=True)))


_READ: dict[tuple[Path, str], object] = {}


def _points_of(scene: Path, layer: str, column: str = "", least: float = 0.0) -> cKDTree | None:
    """Places of the truth, every 2 m along lines; None where there are none."""
    key = (scene, f"{layer} {least}")
    if key not in _READ:
        names = set(pyogrio.list_layers(scene / "truth.gpkg")[:, 0])
        table = gpd.read_file(scene / "truth.gpkg", layer=layer) if layer in names else gpd.GeoDataFrame(geometry=[])
        if column and len(table):
            table = table[table[column] >= least]
        dense = shapely.get_coordinates(shapely.segmentize(table.geometry.to_numpy(), 2.0)) if len(table) else []
        _READ[key] = cKDTree(dense) if len(dense) else None
    return _READ[key]  # type: ignore[return-value]


def _truth_of(scene: Path, symbol: str, shape: shapely.Geometry) -> bool | None:
    """Whether a thing of this symbol is there; None where the truth does not tell."""
    for symbols, layer, column, least, within_m in POINTS.values():
        if symbol in symbols and shape.geom_type == "Point":
            tree = _points_of(scene, layer, column, least)
            return tree is not None and float(tree.query((shape.x, shape.y))[0]) <= within_m
    for symbols, layer, within_m in LINES.values():
        if symbol in symbols and shape.geom_type == "LineString":
            return _along(_points_of(scene, layer), shape, within_m)
    if symbol in WALLS[0] and "walls" in set(pyogrio.list_layers(scene / "truth.gpkg")[:, 0]):
        return _along(_points_of(scene, WALLS[1]), shape, WALLS[2])
    if symbol in GREENS or symbol in OPEN or symbol in ("301", "302", "303"):
        return _on_cells(scene, symbol, shape)
    return None


def _along(tree: cKDTree | None, line: shapely.Geometry, within_m: float) -> bool:
    dense = shapely.get_coordinates(shapely.segmentize(line, 2.0))
    return tree is not None and float((tree.query(dense)[0] <= within_m).mean()) >= 0.5


def _on_cells(scene: Path, symbol: str, shape: shapely.Geometry) -> bool | None:
    """Whether most of an area is what it says, by a raster of the truth."""
    name = "truth_pond" if symbol < "400" else "truth_open" if symbol in OPEN else "truth_pad"
    if (scene, name) not in _READ:
        with rasterio.open(scene / f"{name}.tif") as source:
            _READ[scene, name] = (source.read(1), source.transform)
    values, transform = _READ[scene, name]  # type: ignore[misc]
    ground = shape.buffer(3.0) if shape.geom_type == "Point" else shape
    inside = geometry_mask([ground], values.shape, transform, invert=True)
    if not inside.any():
        return None
    here = values[inside]
    if symbol in GREENS:
        band = np.digitize(here, BANDS_FROM)
        return float((band == 1 + GREENS.index(symbol)).mean()) >= 0.5
    return float((here > 0.5).mean()) >= 0.5


# ---------------------------------------------------------------- what is measured


def error_chance(stated: NDArray[np.float64], is_drawn: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(n,) chance that the draft is wrong there: drawn and not there, or only proposed and there."""
    return np.where(is_drawn, 1 - stated, stated)


def ece(stated: NDArray[np.float64], is_there: NDArray[np.bool_]) -> float:
    """Expected calibration error in five bins, as the project's other figures of confidence have it."""
    bins = np.clip((stated * 5).astype(int), 0, 4)
    parts = [(bins == b) for b in range(5) if (bins == b).any()]
    return float(sum(part.mean() * abs(stated[part].mean() - is_there[part].mean()) for part in parts))


def log_loss(stated: NDArray[np.float64], is_there: NDArray[np.bool_]) -> float:
    """Mean surprise at the truth, in nats."""
    right = np.clip(np.where(is_there, stated, 1 - stated), 0.01, 1)
    return float(-np.log(right).mean())


def worth(listed: Listed, sure: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) what looking at each thing is worth, given how sure the draft is of it; 0 for what is not listed."""
    look = [looks()[symbol] for symbol in listed.symbol]
    rarely = np.array([RARELY_WRONG.get(symbol, 1.0) for symbol in listed.symbol])
    chance = error_chance(sure, listed.is_drawn) * np.where(listed.is_drawn, rarely, 1.0)
    value = chance * np.array([one.matters for one in look])
    return np.where(value >= LEAST_VALUE, value / np.array([one.minutes for one in look]), 0.0)


def by_worth(listed: Listed) -> list[tuple[Listed, Listed]]:
    """The first share of the list, the best first, and all the rest."""
    return [_split(listed, np.argsort(-worth(listed, listed.stated), kind="stable"))]


def by_side(listed: Listed) -> list[tuple[Listed, Listed]]:
    """The same share as a mapper walks it who begins at one side of the area: of eight sides."""
    turns = np.arange(N_SIDES) * 2 * np.pi / N_SIDES
    ways = [listed.place @ np.array([np.sin(turn), np.cos(turn)]) for turn in turns]
    return [_split(listed, np.argsort(way, kind="stable")) for way in ways]


def _split(listed: Listed, order: NDArray[np.intp]) -> tuple[Listed, Listed]:
    """The first of what is on the list, in this order, and all else."""
    on_list = order[worth(listed, listed.stated)[order] > 0]
    first = on_list[: n_first(listed)]
    return listed.take(first), listed.take(np.setdiff1d(np.arange(len(listed)), first))


def n_first(listed: Listed) -> int:
    """How many things are checked before anything is learned."""
    return round(FIRST_SHARE * int((worth(listed, listed.stated) > 0).sum()))


def errors_per_hour(rest: Listed, sure: NDArray[np.float64], minutes: float) -> float:
    """Errors of the draft found in an hour of looking, where so many minutes are spent on the rest, the best first."""
    order = np.argsort(-worth(rest, sure), kind="stable")
    spent = np.cumsum([looks()[symbol].minutes for symbol in rest.symbol[order]])
    done = order[spent <= minutes]
    return float((rest.is_drawn != rest.is_there)[done].sum() / (minutes / 60))


def figures_of(first: Listed, rest: Listed, prior: Prior | None = None) -> NDArray[np.float64]:
    """(6,) calibration error, log loss and errors an hour of the rest, each before and after learning."""
    after = learn(first.evidence(), prior).applied(rest.stated, rest.symbol, rest.hardly_seen)
    pairs = [(measure(rest.stated, rest.is_there), measure(after, rest.is_there)) for measure in (ece, log_loss)]
    minutes = float(sum(looks()[symbol].minutes for symbol in first.symbol))
    pairs.append((errors_per_hour(rest, rest.stated, minutes), errors_per_hour(rest, after, minutes)))
    return np.array(pairs, np.float64).ravel()


def row_of(name: str, how: str, listed: Listed, prior: Prior | None = None) -> list[str]:
    """Figures of one scene, where there are several walks their means."""
    figures = np.mean([figures_of(*split, prior) for split in WALKS[how](listed)], axis=0)
    n_listed = int((worth(listed, listed.stated) > 0).sum())
    return [name, how, str(n_listed), str(n_first(listed)), *(f"{value:.3f}" for value in figures)]


WALKS = {"best of the list": by_worth, "one side (mean of 8)": by_side}
"""What is checked first -> the walks."""


MEASURES = ("calibration error of the rest", "log loss", "errors found per hour of looking")
COLUMNS = [
    *("scene", "checked first", "listed", "checked"),
    *(f"{what}, {when}" for what in MEASURES for when in ("before", "after")),
]


def updating(pairs: dict[str, tuple[Path, Path]], prior: Prior | None = None) -> list[Table]:
    """Figures of several scenes, and of all together."""
    lists = {name: listed_of(scene, out) for name, (scene, out) in pairs.items()}
    rows = [row_of(name, how, listed, prior) for how in WALKS for name, listed in lists.items()]
    for how in WALKS:
        figures = np.array([row[4:] for row in rows if row[1] == how], np.float64).mean(axis=0)
        rows.append(["mean", how, "", "", *(f"{value:.3f}" for value in figures)])
    return [Table("", COLUMNS, rows)]


# ---------------------------------------------------------------- the prior


def fitted_prior(lists: Sequence[Listed]) -> Prior:
    """The prior with which what is left becomes least surprising in the mean, and more so in no scene by MOST_LOSS.

    Each scene is walked in random orders too, so that a prior is not fitted to what one order happens to check.
    """
    best = (np.inf, Prior())
    for section, family in itertools.product((0.3, 0.6, 0.8, 1.0), (0.3, 0.6, 0.9)):
        prior = Prior(section, family)
        losses = [_loss_after(listed, prior) for listed in lists]
        print(f"section {section}, family {family}: {np.round(losses, 4)}", flush=True)
        if max(losses) <= MOST_LOSS_NATS:
            best = min(best, (float(np.mean(losses)), prior), key=lambda pair: pair[0])
    return best[1]


def _loss_after(listed: Listed, prior: Prior) -> float:
    rng = np.random.default_rng(1)
    splits = [*by_worth(listed), *by_side(listed), *(_split(listed, rng.permutation(len(listed))) for _ in range(8))]
    losses = []
    for first, rest in splits:
        after = learn(first.evidence(), prior).applied(rest.stated, rest.symbol, rest.hardly_seen)
        losses.append(log_loss(after, rest.is_there) - log_loss(rest.stated, rest.is_there))
    return float(np.mean(losses))


def main(arguments: list[str]) -> None:
    """Print the table, or a prior."""
    words = [word for word in arguments if word != "--fit"]
    pairs = {Path(scene).name: (Path(scene), Path(out)) for scene, out in (word.split("=", 1) for word in words)}
    if "--fit" in arguments:
        print(fitted_prior([listed_of(scene, out) for scene, out in pairs.values()]))
        return
    for table in updating(pairs):
        print("\n".join(table.as_markdown()))


if __name__ == "__main__":
    main(sys.argv[1:])
