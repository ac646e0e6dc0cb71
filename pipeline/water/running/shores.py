"""Watercourses end where a lake begins."""

from __future__ import annotations

from dataclasses import replace

import shapely
from shapely.geometry import LineString, Polygon

from pipeline.norm.symbols import isom
from pipeline.water.running.channels import Channel


def on_land(channels: list[Channel], lakes: list[Polygon], /) -> list[Channel]:
    """The stretches of watercourses outside standing water, as long as the norm draws them, each running downstream."""
    if not lakes:
        return channels
    water = shapely.union_all(lakes)
    shapely.prepare(water)
    found: list[Channel] = []
    for channel in channels:
        if not shapely.intersects(water, channel.line):
            found.append(channel)
            continue
        dry = shapely.get_parts(shapely.difference(channel.line, water))
        least_m = isom(channel.symbol).smallest.length_m
        found += [
            replace(channel, line=part) for part in dry if isinstance(part, LineString) and part.length >= least_m
        ]
    return found
