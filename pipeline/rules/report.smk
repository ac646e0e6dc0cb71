# The page to show and to carry.


rule report:
    """One file with the draft as a map, the evidence of each feature, and what is known of its quality.

    Try: snakemake -c1 report/index.html
    """
    input:
        draft="draft.gpkg",
        outline="work/outline.gpkg",
        survey="report/survey.json",
        season="report/leaf_season.json",
        borrowed="report/borrowed.json",
        left_out="report/left_out.csv",
        ground="report/ground.txt",
        running_water="report/running_water.txt",
        base_level="report/base_level.txt",
        disagreements="fieldwork/disagreements.csv",
        check_list="fieldwork/check_list.csv",
        effort="fieldwork/effort.json",
        shaded_relief="rasters/shaded_relief.tif",
        ground_support="rasters/ground_support.tif",
        canopy_height="rasters/canopy_height.tif",
        running_speed="rasters/running_speed.tif",
    output:
        "report/index.html",
    log:
        "logs/report.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        name=PLAN.area.name,
        map_date=str(PLAN.area.map_date),
        scale=PLAN.area.scale,
        interval_m=PLAN.area.contour_interval_m,
        calibration=PLAN.calibration_files,
        content=PLAN.page_content,
        code=PLAN.code("report"),
    shell:
        "python -m pipeline report --draft={input.draft:q} --outline={input.outline:q} --reports=report --ground=rasters"
        " --fieldwork=fieldwork --out={output:q} --name={params.name:q} --map-date={params.map_date}"
        " --scale={params.scale} --interval-m={params.interval_m} --calibration {params.calibration:q} 2> {log:q}"
