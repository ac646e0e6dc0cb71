"""What a refresh shows: a sheet of changes to take along, and a page with before and after."""

from __future__ import annotations

import geopandas as gpd

from pipeline.files import layers
from pipeline.files.earlier.written import PAGE, SHEET, STYLED
from pipeline.plan.plan import Plan
from pipeline.steps.exports.export import styled_refreshed
from pipeline.steps.exports.words import told_of
from pipeline.steps.fieldwork_sheet import fieldwork_sheet
from pipeline.steps.report.report import report


def show_changes(plan: Plan, old: gpd.GeoDataFrame, /) -> None:
    """Write the sheet and the page of changes of a refresh that is done, and its map with symbols where such is wanted.

    Parameters
    ----------
    old : features of the earlier map in the frame of the new survey
    """
    out, area = plan.out, plan.area
    if "styled" in area.exports:
        told = told_of(
            survey=out / "report" / "survey.json",
            season=out / "report" / "leaf_season.json",
            borrowed=out / "report" / "borrowed.json",
            name=area.name,
            scale=area.scale,
            interval_m=area.contour_interval_m,
            map_date=str(area.map_date),
            language=area.language,
        )
        styled_refreshed(out / "refreshed.gpkg", out / "work" / "outline.gpkg", told, out=out / STYLED)
    before = out / "work" / "before.gpkg"
    layers.write_features(before, old)
    changes = out / "changes.gpkg"
    fieldwork_sheet(
        draft=out / "draft.gpkg",
        outline=out / "work" / "outline.gpkg",
        survey=out / "report" / "survey.json",
        season=out / "report" / "leaf_season.json",
        borrowed=out / "report" / "borrowed.json",
        shaded_relief=out / "rasters" / "shaded_relief.tif",
        check_list=out / "fieldwork" / "changes_list.csv",
        pdf=out / SHEET,
        name=area.name,
        map_date=str(area.map_date),
        interval_m=area.contour_interval_m,
        language=area.language,
        settings=area.expert.sheet,
        changes=changes,
    )
    report(
        draft=out / "draft.gpkg",
        outline=out / "work" / "outline.gpkg",
        reports=out / "report",
        ground=out / "rasters",
        fieldwork=out / "fieldwork",
        out=out / PAGE,
        name=f"{area.name}: what changed",
        map_date=str(area.map_date),
        scale=area.scale,
        interval_m=area.contour_interval_m,
        calibration=[],
        changes=changes,
        before=before,
        refreshed=out / "refresh.json",
    )
