"""How far the measured density of undergrowth is out where plants are not as the model takes them to be.

Run: python -m tests.benchmarks.undergrowth_models

The model spreads leaves at random angles evenly through the running layer. Here vertical pulses pass through the same
plant area arranged otherwise: in part of the layer, denser towards its top or foot, in clumps, with leaves lying or
standing (the distributions of de Wit 1965, Photosynthesis of leaf canopies), over a carpet that reaches into the layer.
The table says by what factor the density that is measured differs from the one that is there; the last line is the
spread of its natural logarithm over all, which `running.density.MODEL_SPREAD_RATIO` states.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.settings import VegetationSettings
from pipeline.vegetation.running.density import EXTINCTION_RATIO, plant_area_density
from tests.pulse_scene import RUNNING_LAYER

DENSITIES = (0.22, 0.55, 1.2)
"""Mean plant-area densities of the layer, m2/m3, one within each of 406, 408 and 410."""
N_PULSES = 200_000
N_LEVELS = 44
"""Slices of 5 cm that the layer is cut in."""
Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Model:
    """How plants stand.

    Attributes
    ----------
    name : str
    by_height : relative density at a height, given as a share of the layer
    share_of_ground : share of the ground they stand on
    facing_ratio : share of their area that stands in a vertical pulse's way
    carpet : m2/m3 of a carpet that reaches 0.2 m into the layer
    """

    name: str
    by_height: Callable[[Numbers], Numbers] = np.ones_like
    share_of_ground: float = 1.0
    facing_ratio: float = 0.5
    carpet: float = 0.0


def facing(density_of_angle: Callable[[Numbers], Numbers]) -> float:
    """Mean cosine of the leaves' inclination: the share of their area that a vertical pulse meets."""
    angle = (np.arange(9000) + 0.5) * np.pi / 2 / 9000
    weight = density_of_angle(angle)
    return float((weight * np.cos(angle)).sum() / weight.sum())


MODELS = (
    Model("as the model has it"),
    Model("in the lower half", lambda share: (share < 0.5) * 1.0),
    Model("in the upper half", lambda share: (share >= 0.5) * 1.0),
    Model("denser towards the foot", lambda share: 1 - share),
    Model("denser towards the top", lambda share: share),
    Model("in clumps on half of the ground", share_of_ground=0.5),
    Model("in clumps on a quarter of the ground", share_of_ground=0.25),
    Model("leaves lie", facing_ratio=facing(lambda angle: 1 + np.cos(2 * angle))),
    Model("leaves stand", facing_ratio=facing(lambda angle: 1 - np.cos(2 * angle))),
    Model("leaves lie aslant", facing_ratio=facing(lambda angle: 1 - np.cos(4 * angle))),
    Model("over heather 0.5 m high", carpet=0.5),
    Model("over fern 0.5 m high", carpet=1.0),
)


def measured(model: Model, density: float, /) -> float:
    """Plant-area density that the estimator gives, over all pulses."""
    rng = np.random.default_rng(1)
    bottom, top = RUNNING_LAYER
    layer_m, share = top - bottom, (np.arange(N_LEVELS) + 0.5) / N_LEVELS
    weight = model.by_height(share)
    area = weight / weight.mean() * density / model.share_of_ground
    on_plants = rng.random(N_PULSES) < model.share_of_ground
    carpet = np.where(share * layer_m < 0.2, model.carpet, 0.0)
    depth = np.where(on_plants, (model.facing_ratio * area).sum(), 0.0) + (0.5 * carpet).sum()
    stopped = rng.random(N_PULSES) < -np.expm1(-depth * layer_m / N_LEVELS)
    counts = np.array([float(N_PULSES)]), np.array([float(stopped.sum())])
    return float(plant_area_density(*counts, layer_m=layer_m, extinction=EXTINCTION_RATIO)[0])


def main() -> None:
    """Print the factors and their spread."""
    settings = VegetationSettings()
    print(f"layer {settings.running_bottom_m:g} to {settings.running_top_m:g} m; factor at {DENSITIES} m2/m3")
    logs = []
    for model in MODELS:
        factors = [measured(model, density) / density for density in DENSITIES]
        print(f"{model.name:<38}" + "  ".join(f"{factor:.2f}" for factor in factors))
        logs += np.log(factors).tolist() if model is not MODELS[0] else []
    print(f"{'spread of the logarithm':<38}{np.sqrt(np.mean(np.square(logs))):.2f}")


if __name__ == "__main__":
    main()
