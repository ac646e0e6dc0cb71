"""How well the rates are fitted to a club's history, and how the hours of a draft lie beside those of the truth.

    python -m tests.benchmarks.effort TRUTH=DRAFT ...

TRUTH is the folder of a made scene, with `truth.gpkg`; DRAFT the folder of its draft.
"""

from __future__ import annotations

import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from pipeline.effort.rates.history import EIGHT_IN_TEN, LEAST_ERROR, fit_history
from pipeline.effort.rates.hours import hours_without_draft
from pipeline.effort.rates.measuring import measure
from pipeline.effort.rates.trade import TASKS
from pipeline.files import layers
from pipeline.steps.effort.ground import rise_in
from tests.benchmarks.results import Table
from tests.effort.made_ground import USABLE
from tests.effort.made_history import made_history, made_hours

SEEDS, NEW_AREAS = 20, 40
NOISES = (0.0, 0.05, 0.1, 0.2)
"""Standard deviation of the logarithm of hours: 0.1 is a tenth."""


def fitted() -> list[Table]:
    """Known rates found again from 12 areas, over 20 made histories."""
    rows = []
    for noise in NOISES:
        found = np.array([_one_fit(seed, noise) for seed in range(SEEDS)])
        worst, weighed, hours, said, trade, within = found.T
        rows.append(
            [
                f"{noise:.0%}",
                f"{np.median(worst):.0%}, {worst.max():.0%}",
                f"{np.median(weighed):.0%}, {weighed.max():.0%}",
                f"{np.median(hours):.0%}, {hours.max():.0%}",
                f"{np.median(said):.0%}",
                f"{np.median(trade):.0%}",
                f"{within.mean():.0%}",
            ]
        )
    columns = [
        "hours written down off by",
        "a rate off by: the worst of seven, middle history and worst",
        "rates off by, each counted by its hours: middle history and worst",
        "hours of new areas off by: middle history and worst",
        "error that the fit says",
        "error by the trade's rates",
        "new areas within the range that is printed (8 in 10 are meant)",
    ]
    return [Table("Seven known rates, found from 12 areas", columns, rows)]


def _one_fit(seed: int, noise: float) -> tuple[float, float, float, float, float, float]:
    past, factor = made_history(seed, noise=noise)
    fit = fit_history(past)
    rng = np.random.default_rng(seed + 1000)
    _, new = made_hours(rng, NEW_AREAS)
    off = np.log((new @ fit.factor) / (new @ factor))
    # What a club would write down of the new areas has the same noise as the history.
    aside = EIGHT_IN_TEN * max(fit.error, LEAST_ERROR)
    within = np.abs(off + rng.normal(0, noise, NEW_AREAS)) <= aside
    wrong = np.abs(fit.factor / factor - 1)
    weighed = float(np.average(wrong, weights=(past.trade_h * factor).sum(axis=0)))
    return (
        float(wrong.max()),
        weighed,
        float(np.sqrt((off**2).mean())),
        fit.error,
        fit.trade_error,
        float(within.mean()),
    )


TRUE_LAYERS = {
    "rock_point": {"204": ("boulders",)},
    "rock_line": {"201": ("cliffs",)},
    "landform_point": {"109": ("knolls",), "112": ("pits",)},
    "manmade_line": {"505": ("paths",), "508": ("rides",), "513": ("walls",)},
    "manmade_area": {"521": ("buildings",)},
    "water_line": {"306": ("streams",)},
}
"""Layer of a draft -> symbol -> layers of a scene's truth that stand in its place. Greens, contours and ponds stay
those of the draft: truth has them as grids."""


def beside_truth(scenes: dict[str, tuple[Path, Path]]) -> list[Table]:
    """Hours a square kilometre of each task without a draft, measured on the draft and on the truth."""
    rows = []
    for name, (truth, out) in scenes.items():
        outline, _ = layers.read_outline(out / "work" / "outline.gpkg")
        drawn = {one: layers.read_layer(out / "draft.gpkg", one) for one in layers.count_features(out / "draft.gpkg")}
        known = drawn | _true_layers(truth / "truth.gpkg", drawn["rock_point"].crs)
        by_draft, by_truth = (_per_km2(tables, outline, out) for tables in (drawn, known))
        for label, hours in (("by the draft", by_draft), ("by the truth", by_truth)):
            rows.append([name, label, *(f"{hour:.1f}" for hour in hours), f"{hours.sum():.0f}"])
    return [Table("Hours a km2 without a draft", ["place", "measured", *TASKS, "all"], rows)]


def _true_layers(path: Path, crs: object) -> dict[str, gpd.GeoDataFrame]:
    there = set(gpd.list_layers(path)["name"])
    found = {}
    for layer, symbols in TRUE_LAYERS.items():
        parts = [
            gpd.GeoDataFrame(
                {"symbol": symbol, "status": "draft"}, geometry=table.geometry.to_numpy(), index=table.index
            )
            for symbol, names in symbols.items()
            for table in (gpd.read_file(path, layer=name) for name in names if name in there)
        ]
        found[layer] = pd.concat([part.set_crs(crs, allow_override=True) for part in parts], ignore_index=True)
    return found


def _per_km2(tables: dict[str, gpd.GeoDataFrame], outline: object, out: Path) -> np.ndarray:
    with rise_in(out / "rasters" / "slope.tif") as rise_of:
        _, measures = measure(tables, outline, outline, rise_of=rise_of)  # type: ignore[arg-type]
    hours = hours_without_draft(measures, grades=USABLE, scale=10000)
    return np.asarray(hours.sum(axis=0) / measures["area_km2"].sum())


if __name__ == "__main__":
    pairs = {Path(truth).name: (Path(truth), Path(out)) for truth, out in (word.split("=") for word in sys.argv[1:])}
    for table in [*fitted(), *(beside_truth(pairs) if pairs else [])]:
        print("\n".join(table.as_markdown()))
