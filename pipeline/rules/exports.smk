# What a mapper asks for beside the draft, a file or a backdrop at a time.


rule export:
    """The draft's features in another format.

    Try: snakemake -c1 exports/draft.gpx
    """
    input:
        draft="draft.gpkg",
        outline="work/outline.gpkg",
        survey="report/survey.json",
        season="report/leaf_season.json",
        borrowed="report/borrowed.json",
    output:
        "exports/{export}",
    log:
        "logs/exports/{export}.log",
    params:
        name=PLAN.area.name,
        map_date=str(PLAN.area.map_date),
        scale=PLAN.area.scale,
        interval_m=PLAN.area.contour_interval_m,
        code=PLAN.code("export"),
    shell:
        "python -m pipeline export --draft={input.draft:q} --outline={input.outline:q} --survey={input.survey:q}"
        " --season={input.season:q} --borrowed={input.borrowed:q} --out={output:q} --name={params.name:q}"
        " --map-date={params.map_date} --scale={params.scale} --interval-m={params.interval_m} 2> {log:q}"


rule map_tiles:
    """The sheet's map as tiles for phones.

    Try: snakemake -c1 exports/map.mbtiles
    """
    input:
        picture="sheets/field_sheet.tif",
        outline="work/outline.gpkg",
        survey="report/survey.json",
        season="report/leaf_season.json",
        borrowed="report/borrowed.json",
    output:
        "exports/{tiles}",
    log:
        "logs/exports/{tiles}.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        name=PLAN.area.name,
        map_date=str(PLAN.area.map_date),
        scale=PLAN.area.scale,
        interval_m=PLAN.area.contour_interval_m,
        code=PLAN.code("map_tiles"),
    shell:
        "python -m pipeline map_tiles --picture={input.picture:q} --outline={input.outline:q} --survey={input.survey:q}"
        " --season={input.season:q} --borrowed={input.borrowed:q} --out={output:q} --name={params.name:q}"
        " --map-date={params.map_date} --scale={params.scale} --interval-m={params.interval_m} 2> {log:q}"


rule backdrop:
    """A picture of the ground to draw over, upright and turned to the sheet.

    Try: snakemake -c1 backdrops/slope.tif
    """
    input:
        source=lambda wildcards: BACKDROP_SOURCES[wildcards.backdrop],
        outline="work/outline.gpkg",
        survey="report/survey.json",
        season="report/leaf_season.json",
        borrowed="report/borrowed.json",
    output:
        tif="backdrops/{backdrop}.tif",
        png="backdrops/{backdrop}.png",
        world="backdrops/{backdrop}.pgw",
        turned_tif="backdrops/{backdrop}_turned.tif",
        turned_png="backdrops/{backdrop}_turned.png",
        turned_world="backdrops/{backdrop}_turned.pgw",
    log:
        "logs/backdrops/{backdrop}.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        name=PLAN.area.name,
        map_date=str(PLAN.area.map_date),
        scale=PLAN.area.scale,
        interval_m=PLAN.area.contour_interval_m,
        code=PLAN.code("backdrop"),
    shell:
        "python -m pipeline backdrop --kind={wildcards.backdrop} --source={input.source:q} --outline={input.outline:q}"
        " --survey={input.survey:q} --season={input.season:q} --borrowed={input.borrowed:q} --out={output.tif:q}"
        " --turned-out={output.turned_tif:q} --name={params.name:q} --map-date={params.map_date}"
        " --scale={params.scale} --interval-m={params.interval_m} 2> {log:q}"
