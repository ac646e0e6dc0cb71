"""What changed since an earlier survey or map, for the page: patches, places to visit, and the map of before."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import geopandas as gpd
import pandas as pd
import shapely

from pipeline.norm.symbols import SymbolTable
from pipeline.report.lists import rows_of
from pipeline.report.looks import Json
from pipeline.report.place import Place
from pipeline.report.shapes import features_of, steps_of

LISTED = ("rank", "name", "change", "look_at", "why", "sure")


def changes_of(
    patches: gpd.GeoDataFrame, places: pd.DataFrame, place: Place, /, *, told: Sequence[str] = ()
) -> dict[str, Json]:
    """The data block `changes`.

    Parameters
    ----------
    patches : layer `changes` of `changes.gpkg`: `kind` in words, polygons
    places : `fieldwork/changes_list.csv`
    told : how the two maps lie to each other, what cannot be told, a sentence each

    Returns
    -------
    `places` : rows of the list with `x`, `y` on the page's map
    `rings` : rims of the patches, as rings of features are told
    `told` : as given
    """
    shapes = patches.geometry[~(patches.geometry.isna() | patches.geometry.is_empty)].to_numpy()
    rims = shapely.get_rings(shapes) if len(shapes) else ()
    rings = [steps_of(shapely.get_coordinates(rim), place) for rim in rims]
    listed = [column for column in LISTED if column in places]
    return {"places": rows_of(places, place, columns=listed), "rings": cast("Json", rings), "told": list(told)}


def before_of(old: gpd.GeoDataFrame, place: Place, symbols: SymbolTable, /) -> dict[str, Json]:
    """The data block `before`: an earlier map in the frame of the new survey, as features of the page.

    Features of numbers that the table of the norm does not know are left out: nothing says how they are drawn.
    """
    known = [number in symbols for number in old["symbol"].astype(str)]
    return features_of({"before": old[known]}, place, symbols)
