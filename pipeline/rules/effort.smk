# Hours of fieldwork and of drawing. `tussock estimate` asks for nothing else: no sheets, no points, no exports.


rule effort:
    """Hours, days, money and weeks, by square and whole, from the draft.

    Try: snakemake -c1 fieldwork/effort.json
    """
    input:
        draft="draft.gpkg",
        slope="rasters/slope.tif",
        outline="work/outline.gpkg",
        survey="report/survey.json",
    output:
        "fieldwork/effort.json",
    priority: SOON
    log:
        "logs/effort.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        name=PLAN.area.name,
        map_date=str(PLAN.area.map_date),
        scale=PLAN.area.scale,
        settings=section_text(PLAN.area.effort),
        sheet=PLAN.section("sheet"),
        history=PLAN.history_files,
        history_content=PLAN.history_content,
        code=PLAN.code("effort"),
    shell:
        "python -m pipeline effort --draft={input.draft:q} --slope={input.slope:q} --outline={input.outline:q}"
        " --survey={input.survey:q} --out={output:q} --name={params.name:q} --map-date={params.map_date}"
        " --scale={params.scale} --settings={params.settings:q} --sheet={params.sheet:q}"
        " --history {params.history:q} 2> {log:q}"
