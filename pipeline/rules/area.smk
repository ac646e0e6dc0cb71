# Once for the whole area.


rule survey:
    """What the tiles are and what can be found in them.

    Try: snakemake -c1 report/survey.txt
    """
    output:
        text="report/survey.txt",
        figures="report/survey.json",
    log:
        "logs/survey.log",
    resources:
        mem_mb=PLAN.survey_mem_mb,
    params:
        area=str(PLAN.area_path),
        told=PLAN.survey_mark,
        settings=PLAN.section("survey"),
        kept="work/kept/survey.sqlite",
        code=PLAN.code("survey"),
    shell:
        "python -m pipeline survey --area={params.area:q} --text={output.text:q} --figures={output.figures:q}"
        " --kept={params.kept:q} --code={params.code} 2> {log:q}"


rule decide:
    """Side of a raster cell and levels of flight lines, from the ground that the returns cover.

    Try: snakemake -c1 work/decided.json
    """
    input:
        split=expand("work/split/{tile}", tile=PLAN.tile_names),
        seen=expand("work/seen/{tile}", tile=PLAN.tile_names),
    output:
        "work/decided.json",
    priority: FIRST
    log:
        "logs/decide.log",
    resources:
        mem_mb=PLAN.decide_mem_mb,
    params:
        tiles=PLAN.content,
        flow=PLAN.section("flow"),
        settings=PLAN.section("points"),
        cell_m=PLAN.area.expert.terrain.cell_m or 0,
        code=PLAN.code("decide"),
    shell:
        "python -m pipeline decide --plan=work/plan.json --seen=work/seen --split=work/split --out={output:q}"
        " --flow={params.flow:q} --settings={params.settings:q} --cell-m={params.cell_m} 2> {log:q}"


rule ground_report:
    """Where the producer's ground and ours differ, and which was taken.

    Try: snakemake -c1 report/ground.txt
    """
    input:
        disputes=expand("work/disputes/{block}.json", block=PLAN.block_names),
        survey="report/survey.json",
    output:
        "report/ground.txt",
    log:
        "logs/ground_report.log",
    params:
        code=PLAN.code("ground_report"),
    shell:
        "python -m pipeline ground_report --disputes=work/disputes --plan=work/plan.json --survey={input.survey:q}"
        " --out={output:q} 2> {log:q}"


rule rasters:
    """Join the blocks' grids; find the outline of the area.

    Try: snakemake -c1 rasters/canopy_height.tif
    """
    input:
        grids=expand("work/grids/{block}", block=PLAN.block_names),
    output:
        seen="work/bare_earth_seen.tif",
        ground_support="rasters/ground_support.tif",
        canopy_height="rasters/canopy_height.tif",
        counts=directory("work/counts"),
        outline="work/outline.gpkg",
    priority: FIRST
    log:
        "logs/rasters.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        boundary=PLAN.boundary_files,
        boundary_content=PLAN.boundary_content,
        code=PLAN.code("rasters"),
    shell:
        "python -m pipeline rasters --grids=work/grids --plan=work/plan.json --out=rasters --seen={output.seen:q}"
        " --counts={output.counts:q} --outline={output.outline:q} --boundary {params.boundary:q} 2> {log:q}"


rule bare_earth:
    """The bare earth, lakes flat.

    Try: snakemake -c1 rasters/bare_earth.tif
    """
    input:
        seen="work/bare_earth_seen.tif",
        water="work/features/water.gpkg",
    output:
        "rasters/bare_earth.tif",
    priority: FIRST
    log:
        "logs/bare_earth.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        code=PLAN.code("bare_earth"),
    shell:
        "python -m pipeline bare_earth --seen {input.seen:q} --water {input.water:q} --out {output:q}"
        " 2> {log:q}"


rule relief:
    """Slope and shaded relief."""
    input:
        "rasters/bare_earth.tif",
    output:
        slope="rasters/slope.tif",
        shaded_relief="rasters/shaded_relief.tif",
    log:
        "logs/relief.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        code=PLAN.code("relief"),
    shell:
        "python -m pipeline relief --bare-earth {input:q} --slope-out {output.slope:q}"
        " --shaded-relief-out {output.shaded_relief:q} 2> {log:q}"


rule water:
    """Standing and running water, marshes and springs; whether the ground looks porous."""
    input:
        bare_earth="work/bare_earth_seen.tif",
        ground_support="rasters/ground_support.tif",
        canopy_height="rasters/canopy_height.tif",
        counts="work/counts",
    output:
        features="work/features/water.gpkg",
        report="report/running_water.txt",
    priority: FIRST
    log:
        "logs/water.log",
    resources:
        mem_mb=PLAN.area_mem_mb,
    params:
        scale=PLAN.area.scale,
        climate=PLAN.area.climate,
        porous={True: "yes", False: "no", None: "ask"}[PLAN.area.porous_ground],
        settings=PLAN.section("water"),
        kept="work/kept/water.sqlite",
        code=PLAN.code("water"),
    shell:
        "python -m pipeline water --bare-earth {input.bare_earth:q} --ground-support {input.ground_support:q}"
        " --canopy-height {input.canopy_height:q}"
        " --counts {input.counts:q} --out {output.features:q} --report {output.report:q} --scale {params.scale} --climate {params.climate}"
        " --porous {params.porous} --settings {params.settings:q}"
        " --kept={params.kept:q} --code={params.code} 2> {log:q}"


rule usual_ground:
    """How bright the ground of the survey is, and how many pulses come back.

    Try: snakemake -c1 work/usual_ground.json
    """
    input:
        counts="work/counts",
    output:
        "work/usual_ground.json",
    priority: FIRST
    log:
        "logs/usual_ground.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        code=PLAN.code("usual_ground"),
    shell:
        "python -m pipeline usual_ground --counts={input.counts:q} --out={output:q} 2> {log:q}"


rule season:
    """Whether leaves were out.

    Try: snakemake -c1 report/leaf_season.json
    """
    input:
        counts="work/counts",
        survey="report/survey.json",
    output:
        "report/leaf_season.json",
    priority: LATER
    log:
        "logs/season.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        code=PLAN.code("season"),
    shell:
        "python -m pipeline season --counts={input.counts:q} --survey={input.survey:q} --out={output:q} 2> {log:q}"


rule rides:
    """Rides, followed from field to field.

    Try: snakemake -c1 work/features/rides.gpkg
    """
    input:
        candidates=expand("work/ride_candidates/{field}", field=PLAN.field_names),
        counts="work/counts",
    output:
        "work/features/rides.gpkg",
    priority: FIRST
    log:
        "logs/rides.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        settings=PLAN.section("vegetation"),
        code=PLAN.code("rides"),
    shell:
        "python -m pipeline rides --candidates=work/ride_candidates --plan=work/plan.json --counts={input.counts:q}"
        " --out={output:q} --settings={params.settings:q} 2> {log:q}"


rule running:
    """The rasters of runnability joined from fields.

    Try: snakemake -c1 rasters/running_speed.tif
    """
    input:
        fields=expand("work/running/{field}", field=PLAN.field_names),
        like="rasters/bare_earth.tif",
    output:
        understorey="rasters/understorey.tif",
        understorey_error="rasters/understorey_error.tif",
        running_speed="rasters/running_speed.tif",
    log:
        "logs/running.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        code=PLAN.code("running"),
    shell:
        "python -m pipeline running --fields=work/running --plan=work/plan.json --like={input.like:q} --out=rasters 2> {log:q}"


rule base_level:
    """What another base level of the contours would show.

    Try: snakemake -c1 report/base_level.txt
    """
    input:
        expand("work/base_level/{field}.json", field=PLAN.field_names),
    output:
        "report/base_level.txt",
    log:
        "logs/base_level.log",
    params:
        settings=PLAN.section("landform"),
        code=PLAN.code("base_level"),
    shell:
        "python -m pipeline base_level --counts=work/base_level --plan=work/plan.json --out={output:q}"
        " --settings={params.settings:q} 2> {log:q}"


rule borrow:
    """What other people mapped, as features of the norm.

    Try: snakemake -c1 work/features/borrowed.gpkg
    """
    input:
        outline="work/outline.gpkg",
    output:
        features="work/features/borrowed.gpkg",
        report="report/borrowed.json",
    priority: LATER
    log:
        "logs/borrow.log",
    resources:
        mem_mb=PLAN.band_mem_mb,
    params:
        sources=PLAN.borrowed,
        content=PLAN.borrowed_content,
        code=PLAN.code("borrow"),
    shell:
        "python -m pipeline borrow --sources={params.sources:q} --outline={input.outline:q} --out={output.features:q}"
        " --report={output.report:q} 2> {log:q}"


rule compose:
    """One draft of all sections, and the list of what was left out of it.

    Try: snakemake -c1 draft.gpkg
    """
    input:
        water="work/features/water.gpkg",
        rides="work/features/rides.gpkg",
        borrowed="work/features/borrowed.gpkg",
        sections=expand(
            "work/features/{section}/{field}.gpkg",
            section=["landform", "rock", "vegetation", "manmade"],
            field=PLAN.field_names,
        ),
        outline="work/outline.gpkg",
        survey="report/survey.json",
    output:
        draft="draft.gpkg",
        left_out="report/left_out.csv",
        disagreements="fieldwork/disagreements.csv",
        written="fieldwork/as_written.gpkg",
    priority: FIRST
    log:
        "logs/compose.log",
    params:
        map_date=str(PLAN.area.map_date),
        marks=PLAN.marks_files,
        marks_content=PLAN.marks_content,
        drawing=PLAN.section("drawing"),
        rock=PLAN.section("rock"),
        vegetation=PLAN.section("vegetation"),
        kept="work/kept/compose.sqlite",
        code=PLAN.code("compose"),
    shell:
        "python -m pipeline compose --features=work/features --plan=work/plan.json --outline={input.outline:q}"
        " --survey={input.survey:q} --drawing={params.drawing:q} --out={output.draft:q} --left-out={output.left_out:q} --disagreements={output.disagreements:q} --map-date={params.map_date}"
        " --marks {params.marks:q} --written={output.written:q} --rock={params.rock:q} --vegetation={params.vegetation:q}"
        " --kept={params.kept:q} --code={params.code} 2> {log:q}"


rule sheet:
    """The field sheet: PDF to scale, PNG, georeferenced TIFF as printed and with grid north up.

    Try: snakemake -c1 sheets/field_sheet.pdf
    """
    input:
        draft="draft.gpkg",
        outline="work/outline.gpkg",
        survey="report/survey.json",
        season="report/leaf_season.json",
        borrowed="report/borrowed.json",
    output:
        pdf="sheets/field_sheet.pdf",
        png="sheets/field_sheet.png",
        tif="sheets/field_sheet.tif",
        grid_north="sheets/field_sheet_grid_north.tif",
    priority: FIRST
    log:
        "logs/sheet.log",
    params:
        name=PLAN.area.name,
        map_date=str(PLAN.area.map_date),
        scale=PLAN.area.scale,
        interval_m=PLAN.area.contour_interval_m,
        language=PLAN.area.language,
        settings=PLAN.section("sheet"),
        code=PLAN.code("sheet"),
    shell:
        "python -m pipeline sheet --draft {input.draft:q} --outline {input.outline:q} --survey {input.survey:q} --season {input.season:q} --borrowed {input.borrowed:q}"
        " --pdf {output.pdf:q} --png {output.png:q} --tif {output.tif:q} --grid-north {output.grid_north:q} --name {params.name:q}"
        " --map-date {params.map_date} --scale {params.scale} --interval-m {params.interval_m} --language {params.language}"
        " --settings {params.settings:q} 2> {log:q}"


rule fieldwork_sheet:
    """The sheet to draw on in the forest: 1:5 000, pale over the relief, with candidates and places to look at.

    Try: snakemake -c1 sheets/fieldwork_sheet.pdf
    """
    input:
        draft="draft.gpkg",
        outline="work/outline.gpkg",
        survey="report/survey.json",
        season="report/leaf_season.json",
        borrowed="report/borrowed.json",
        shaded_relief="rasters/shaded_relief.tif",
        check_list="fieldwork/check_list.csv",
    output:
        "sheets/fieldwork_sheet.pdf",
    log:
        "logs/fieldwork_sheet.log",
    params:
        name=PLAN.area.name,
        map_date=str(PLAN.area.map_date),
        interval_m=PLAN.area.contour_interval_m,
        language=PLAN.area.language,
        settings=PLAN.section("sheet"),
        code=PLAN.code("fieldwork_sheet"),
    shell:
        "python -m pipeline fieldwork_sheet --draft {input.draft:q} --outline {input.outline:q} --survey {input.survey:q}"
        " --season {input.season:q} --borrowed {input.borrowed:q} --shaded-relief {input.shaded_relief:q}"
        " --check-list {input.check_list:q} --pdf {output:q} --name {params.name:q} --map-date {params.map_date}"
        " --interval-m {params.interval_m} --language {params.language} --settings {params.settings:q} 2> {log:q}"


rule manifest:
    """What went in, what came out, with which settings and versions; what tiles of before left goes.

    Try: snakemake -c1 manifest.json
    """
    input:
        draft="draft.gpkg",
        sheet="sheets/field_sheet.pdf",
        fieldwork="sheets/fieldwork_sheet.pdf",
        page="report/index.html",
        check_list="fieldwork/check_list.csv",
        survey="report/survey.json",
        points=expand("work/labelled/{tile}.json", tile=PLAN.tile_names),
        slope="rasters/slope.tif",
        understorey="rasters/understorey.tif",
        base_level="report/base_level.txt",
        ground="report/ground.txt",
        running_water="report/running_water.txt",
        decided="work/decided.json",
        borrowed="report/borrowed.json",
        exports=PLAN.export_files,
        backdrops=PLAN.backdrop_files,
    output:
        "manifest.json",
    log:
        "logs/manifest.log",
    params:
        plan=PLAN.mark,
        code=PLAN.code("manifest"),
    shell:
        "python -m pipeline manifest --folder=. --plan=work/plan.json --decided={input.decided:q}"
        " --borrowed={input.borrowed:q} --out={output:q} 2> {log:q}"
