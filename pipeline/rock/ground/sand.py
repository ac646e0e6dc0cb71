"""Sandy ground 213: open ground without plants, much brighter than the vegetated ground around.

Dry sand sends back more of the light of most airborne scanners than soil, and about as much as grass or more (from
memory, no source at hand). Pale gravel, stubble and fresh concrete do as well, so all of it is a candidate only.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from pipeline.features import SUM, make_features, no_features
from pipeline.lattice.grid import Grid, Heights
from pipeline.norm.symbols import isom
from pipeline.rock.ground.bare_rock import DRY_MIN_PULSE_RATIO, MEASURES, MIN_LONE_RATIO, DarkGround, outlines_of
from pipeline.rock.ground.brightness import Brightness
from pipeline.rock.ground.stony import Floats

MIN_BRIGHT_RATIO = 1.3
"""Least brightness of sand beside vegetated ground: flight lines differ by a fifth (measured), and less is no contrast
(our choice)."""
BRIGHTEST_RATIO = 1.8
"""Brightness from which more adds no confidence (our choice)."""
LEAST_CONFIDENCE, MOST_CONFIDENCE = 0.1, 0.3
"""Confidence of ground just bright enough, and of ground however bright: neither is measured, for want of a survey with
mapped sand."""


def draw_bright_ground(bare_earth: Heights, brightness: Brightness, grid: Grid, /) -> DarkGround:
    """Outlines of bare bright ground with the symbol 213, to be measured and judged as dark ground is.

    Parameters
    ----------
    bare_earth : (rows, cols) float32, metres, NaN where unknown
    """
    mask = np.nan_to_num(brightness.ratio, nan=0.0) >= MIN_BRIGHT_RATIO
    mask &= (brightness.lone_ratio >= MIN_LONE_RATIO) & np.isfinite(bare_earth)
    mask &= brightness.pulse_ratio >= DRY_MIN_PULSE_RATIO
    if not brightness.is_known or mask.sum() * grid.cell_m**2 < isom("213").smallest.area_m2:
        return DarkGround(no_features(grid.crs), np.zeros(grid.shape, np.bool_), brightness.ratio)
    areas = make_features(outlines_of(mask, grid), crs=grid.crs, symbol="213", confidence=LEAST_CONFIDENCE, evidence="")
    return DarkGround(areas, mask, brightness.ratio)


def judge_bright_ground(areas: gpd.GeoDataFrame, /) -> gpd.GeoDataFrame:
    """Whole areas of which at least half of the cells stand out from vegetated ground, with confidence and evidence."""
    of = {name: areas[SUM + name].to_numpy(np.float64) for name in MEASURES}
    told = np.maximum(of["told_cells"], 1)
    bright: Floats = of["bright"] / told
    drawn = np.flatnonzero((2 * of["apart_cells"] >= told) & (bright >= MIN_BRIGHT_RATIO))
    share = np.clip((bright - MIN_BRIGHT_RATIO) / (BRIGHTEST_RATIO - MIN_BRIGHT_RATIO), 0, 1)
    confidence = LEAST_CONFIDENCE + (MOST_CONFIDENCE - LEAST_CONFIDENCE) * share
    chosen = areas.iloc[drawn].drop(columns=[name for name in areas.columns if name.startswith(SUM)])
    return gpd.GeoDataFrame(
        chosen.assign(
            confidence=confidence[drawn],
            evidence=[
                f"bare ground {bright[i]:.2f} times as bright as vegetated ground around, "
                f"{of['lone'][i] / told[i]:.0%} of pulses end on it alone; or gravel, stubble or concrete"
                for i in drawn
            ],
        )
    )
