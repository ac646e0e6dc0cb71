"""All rules of the norm that a printed draft is measured against."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import pandas as pd
import shapely
from shapely.geometry.base import BaseGeometry

from pipeline.audit.bends import too_narrow_bends
from pipeline.audit.finding import Finding
from pipeline.audit.gaps import too_near, too_near_obstacles
from pipeline.audit.marks import over_edge, wrong_patterns, wrong_sizes
from pipeline.audit.printed import Printed
from pipeline.audit.sizes import too_narrow, too_short, too_small, too_small_openings, too_small_rings

RULES = {
    "length": "a line, with those it is read as one with, is as long as its symbol asks",
    "area": "an area is as large as its symbol asks",
    "extent": "an area is somewhere as long and as broad as its symbol asks",
    "width": "no stretch of an area is narrower than its symbol asks",
    "opening": "a hole left white in an area is large enough to be seen",
    "ring": "a closed contour or form line shows a hill or hollow as large as it may",
    "bend": "the flanks of a contour's bend lie apart",
    "mouth": "the mouth of a contour's spur or re-entrant is wide enough",
    "gap": "there is white between two symbols of one colour that do not cross or meet",
    "way": "a way between two things that nobody can cross is closed or wide enough to be seen",
    "size": "a mark is as large as the norm draws it",
    "count": "an area of dots or triangles has enough of them",
    "spacing": "the dots or triangles of an area stand apart",
    "edge": "the edge of the map cuts no point symbol",
}
"""The rules by name, each as what holds where it is kept. All figures are those of `config/symbols.csv`."""
COLUMNS = ("rule", "symbol", "other", "asked", "found", "unit", "east_m", "north_m")


@dataclass(frozen=True)
class Audit:
    """What was found on a sheet.

    Attributes
    ----------
    findings : one row for each place that falls short, with COLUMNS
    n_features : features printed
    """

    findings: pd.DataFrame
    n_features: int


def find_all(printed: Sequence[Printed], outline: BaseGeometry, /) -> list[Finding]:
    """Every place where the printed features fall short of the norm.

    Parameters
    ----------
    outline : the mapped area, in millimetres at 1:15 000
    """
    rules = (
        too_short,
        too_small,
        too_narrow,
        too_small_openings,
        too_small_rings,
        too_narrow_bends,
        too_near,
        too_near_obstacles,
        wrong_sizes,
        wrong_patterns,
    )
    found = [finding for rule in rules for finding in rule(printed)]
    return [*found, *over_edge(printed, outline)]


def table_of(findings: Sequence[Finding], places: gpd.GeoSeries, /) -> pd.DataFrame:
    """The findings as rows with COLUMNS, by rule and symbol, from north to south.

    Parameters
    ----------
    places : (n,) where each lies in the working CRS
    """
    table = pd.DataFrame(
        {
            "rule": [one.rule for one in findings],
            "symbol": [one.symbol for one in findings],
            "other": [one.other for one in findings],
            "asked": [round(one.asked, 3) for one in findings],
            "found": [round(one.found, 3) for one in findings],
            "unit": [one.unit for one in findings],
            "east_m": shapely.get_x(places.to_numpy()).round(1),
            "north_m": shapely.get_y(places.to_numpy()).round(1),
        },
        columns=list(COLUMNS),
    )
    order = {rule: number for number, rule in enumerate(RULES)}
    table = table.assign(_order=table["rule"].map(order)).sort_values(
        ["_order", "symbol", "north_m", "east_m"], ascending=[True, True, False, True], kind="stable"
    )
    return table.drop(columns="_order").reset_index(drop=True)


def describe(audit: Audit, /, *, places: int = 3) -> str:
    """The audit in words: a line for each rule, how often it is broken, by which symbols, and the first places."""
    counts = Counter(audit.findings["rule"])
    width = max(len(rule) for rule in RULES)
    lines = [f"{audit.n_features} features printed, {len(audit.findings)} places fall short of ISOM 2017-2"]
    for rule, meaning in RULES.items():
        lines.append(f"{rule:{width}} {counts[rule]:5}  {meaning}")
        broken = audit.findings[audit.findings["rule"] == rule]
        for (symbol, other), part in broken.groupby(["symbol", "other"], sort=True):
            beside = f" beside {other}" if other else ""
            where = "; ".join(
                f"{row.found:g} {row.unit} at {row.east_m:.0f} {row.north_m:.0f}"
                for row in part.head(places).itertuples()
            )
            more = f" and {len(part) - places} more" if len(part) > places else ""
            lines.append(
                f"{'':{width}} {len(part):5}    {symbol}{beside}, asked {part['asked'].iloc[0]:g}: {where}{more}"
            )
    return "\n".join(lines)
