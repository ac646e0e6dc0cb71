# What to do on foot.


rule check_list:
    """What to look at on foot, ranked by what a look is worth, and outings through it.

    Try: snakemake -c1 fieldwork/check_list.csv
    """
    input:
        draft="draft.gpkg",
        disagreements="fieldwork/disagreements.csv",
        outline="work/outline.gpkg",
        bare_earth="rasters/bare_earth.tif",
        running_speed="rasters/running_speed.tif",
        understorey="rasters/understorey.tif",
        slope="rasters/slope.tif",
    output:
        table="fieldwork/check_list.csv",
        gpx="fieldwork/check_points.gpx",
        outings="fieldwork/outings.txt",
    log:
        "logs/check_list.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        name=PLAN.area.name,
        parking=PLAN.parking,
        outing_h=PLAN.area.outing_h,
        vegetation=PLAN.section("vegetation"),
        note_places=PLAN.note_places,
        note_places_content=PLAN.note_places_content,
        marks=PLAN.marks_files,
        done=PLAN.done_content,
        code=PLAN.code("check_list"),
    shell:
        "python -m pipeline check_list --draft={input.draft:q} --disagreements={input.disagreements:q}"
        " --outline={input.outline:q} --bare-earth={input.bare_earth:q} --running-speed={input.running_speed:q}"
        " --understorey={input.understorey:q} --name={params.name:q} --parking={params.parking:q}"
        " --outing-h={params.outing_h} --vegetation={params.vegetation:q} --out={output.table:q} --gpx={output.gpx:q}"
        " --outings={output.outings:q} --note-places {params.note_places:q}"
        " --slope={input.slope:q} --marks {params.marks:q} 2> {log:q}"
