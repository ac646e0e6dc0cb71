"""The draft as GeoJSON (RFC 7946): one collection of all features, for web maps and programs of one's own."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

import geopandas as gpd
import pandas as pd
import shapely

from pipeline.exports.degrees import in_degrees
from pipeline.exports.told import Told


def geojson_text(layers: Mapping[str, gpd.GeoDataFrame], /, *, told: Told) -> str:
    """All features of the layers in WGS 84, each with its columns and `layer`; a line a feature.

    What is to be told stands beside the features (RFC 7946, 6.1, allows members of one's own).
    """
    head = {
        "type": "FeatureCollection",
        "name": told.title,
        **{key.lower(): text for key, text in told.entries.items()},
    }
    features = ",\n".join(_dump(feature) for feature in _features(in_degrees(layers)))
    return f'{_dump(head)[:-1]},"features":[\n{features}\n]}}\n'


def _features(layers: Mapping[str, gpd.GeoDataFrame]) -> Iterator[dict[str, object]]:
    for name, table in layers.items():
        columns = table.drop(columns=table.geometry.name).to_dict("records")
        for columns_of_one, geometry in zip(columns, shapely.to_geojson(table.geometry.to_numpy()), strict=True):
            known = {str(key): None if pd.isna(value) else value for key, value in columns_of_one.items()}
            yield {
                "type": "Feature",
                **({"id": known["id"]} if "id" in known else {}),
                "properties": {"layer": name, **known},
                "geometry": json.loads(geometry),
            }


def _dump(content: object) -> str:
    return json.dumps(content, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
