# Once for the whole area.


rule survey:
    """What the tiles are and what can be found in them.

    Try: snakemake -c1 report/survey.txt
    """
    input:
        tiles=[ancient(local(path)) for path in PLAN.tile_paths],
    output:
        text="report/survey.txt",
        figures="report/survey.json",
    log:
        "logs/survey.log",
    params:
        area=str(PLAN.area_path),
        content=PLAN.content,
        settings=PLAN.section("survey"),
        code=PLAN.code("survey"),
    shell:
        "python -m pipeline survey --area {params.area:q} --text {output.text:q} --figures {output.figures:q} 2> {log:q}"


rule rasters:
    """Join the blocks' grids; find the outline of the area.

    Try: snakemake -c1 rasters/canopy_height.tif
    """
    input:
        grids=expand("work/grids/{block}", block=PLAN.block_names),
        boundary=local(PLAN.boundary_inputs),
    output:
        seen="work/bare_earth_seen.tif",
        ground_support="rasters/ground_support.tif",
        canopy_height="rasters/canopy_height.tif",
        counts=directory("work/counts"),
        outline="work/outline.gpkg",
    log:
        "logs/rasters.log",
    params:
        blocks=PLAN.block_names,
        code=PLAN.code("rasters"),
    shell:
        "python -m pipeline rasters --grids work/grids --blocks {params.blocks} --out rasters"
        " --seen {output.seen:q} --counts {output.counts:q} --outline {output.outline:q} --boundary {input.boundary:q} 2> {log:q}"


rule bare_earth:
    """The bare earth, lakes flat.

    Try: snakemake -c1 rasters/bare_earth.tif
    """
    input:
        seen="work/bare_earth_seen.tif",
        water="work/features/water.gpkg",
    output:
        "rasters/bare_earth.tif",
    log:
        "logs/bare_earth.log",
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
    params:
        code=PLAN.code("relief"),
    shell:
        "python -m pipeline relief --bare-earth {input:q} --slope-out {output.slope:q}"
        " --shaded-relief-out {output.shaded_relief:q} 2> {log:q}"


rule landform:
    """Contours and landforms."""
    input:
        bare_earth="rasters/bare_earth.tif",
        ground_support="rasters/ground_support.tif",
        canopy_height="rasters/canopy_height.tif",
    output:
        features="work/features/landform.gpkg",
        base_level="report/base_level.txt",
    log:
        "logs/landform.log",
    params:
        interval_m=PLAN.area.contour_interval_m,
        scale=PLAN.area.scale,
        settings=PLAN.section("landform"),
        code=PLAN.code("landform"),
    shell:
        "python -m pipeline landform --bare-earth {input.bare_earth:q} --ground-support {input.ground_support:q}"
        " --canopy-height {input.canopy_height:q} --out {output.features:q}"
        " --base-level {output.base_level:q} --interval-m {params.interval_m}"
        " --scale {params.scale} --settings {params.settings:q} 2> {log:q}"


rule rock:
    """Boulders, cliffs, stony ground and bare rock."""
    input:
        boulders=expand("work/boulders/{block}.gpkg", block=PLAN.block_names),
        bare_earth="rasters/bare_earth.tif",
        ground_support="rasters/ground_support.tif",
        canopy_height="rasters/canopy_height.tif",
        counts="work/counts",
    output:
        "work/features/rock.gpkg",
    log:
        "logs/rock.log",
    params:
        blocks=PLAN.block_names,
        settings=PLAN.section("rock"),
        code=PLAN.code("rock"),
    shell:
        "python -m pipeline rock --boulders work/boulders --blocks {params.blocks} --bare-earth {input.bare_earth:q}"
        " --ground-support {input.ground_support:q} --canopy-height {input.canopy_height:q}"
        " --counts {input.counts:q} --out {output:q} --settings {params.settings:q} 2> {log:q}"


rule water:
    """Standing and running water."""
    input:
        bare_earth="work/bare_earth_seen.tif",
        ground_support="rasters/ground_support.tif",
        counts="work/counts",
    output:
        "work/features/water.gpkg",
    log:
        "logs/water.log",
    params:
        scale=PLAN.area.scale,
        settings=PLAN.section("water"),
        code=PLAN.code("water"),
    shell:
        "python -m pipeline water --bare-earth {input.bare_earth:q} --ground-support {input.ground_support:q}"
        " --counts {input.counts:q} --out {output:q} --scale {params.scale} --settings {params.settings:q} 2> {log:q}"


rule vegetation:
    """Open land, runnability and rides."""
    input:
        bare_earth="rasters/bare_earth.tif",
        canopy_height="rasters/canopy_height.tif",
        counts="work/counts",
        survey="report/survey.json",
    output:
        features="work/features/vegetation.gpkg",
        season="report/leaf_season.json",
        understorey="rasters/understorey.tif",
        understorey_error="rasters/understorey_error.tif",
        running_speed="rasters/running_speed.tif",
    log:
        "logs/vegetation.log",
    params:
        settings=PLAN.section("vegetation"),
        code=PLAN.code("vegetation"),
    shell:
        "python -m pipeline vegetation --bare-earth {input.bare_earth:q} --canopy-height {input.canopy_height:q}"
        " --counts {input.counts:q} --survey {input.survey:q} --season {output.season:q} --out {output.features:q}"
        " --understorey {output.understorey:q}"
        " --understorey-error {output.understorey_error:q}"
        " --running-speed {output.running_speed:q} --settings {params.settings:q} 2> {log:q}"


rule manmade:
    """Buildings."""
    input:
        bare_earth="rasters/bare_earth.tif",
        canopy_height="rasters/canopy_height.tif",
        counts="work/counts",
    output:
        "work/features/manmade.gpkg",
    log:
        "logs/manmade.log",
    params:
        scale=PLAN.area.scale,
        settings=PLAN.section("manmade"),
        code=PLAN.code("manmade"),
    shell:
        "python -m pipeline manmade --bare-earth {input.bare_earth:q} --canopy-height {input.canopy_height:q}"
        " --counts {input.counts:q} --out {output:q} --scale {params.scale} --settings {params.settings:q} 2> {log:q}"


rule compose:
    """One draft of all sections, and the list of what was left out of it.

    Try: snakemake -c1 draft.gpkg
    """
    input:
        sections=expand("work/features/{section}.gpkg", section=["landform", "rock", "water", "vegetation", "manmade"]),
        outline="work/outline.gpkg",
    output:
        draft="draft.gpkg",
        left_out="report/left_out.csv",
    log:
        "logs/compose.log",
    params:
        map_date=str(PLAN.area.map_date),
        code=PLAN.code("compose"),
    shell:
        "python -m pipeline compose --sections {input.sections:q} --outline {input.outline:q} --out {output.draft:q}"
        " --left-out {output.left_out:q} --map-date {params.map_date} 2> {log:q}"


rule sheet:
    """The field sheet: PDF to scale, PNG, georeferenced TIFF.

    Try: snakemake -c1 sheets/field_sheet.pdf
    """
    input:
        draft="draft.gpkg",
        outline="work/outline.gpkg",
        survey="report/survey.json",
        season="report/leaf_season.json",
    output:
        pdf="sheets/field_sheet.pdf",
        png="sheets/field_sheet.png",
        tif="sheets/field_sheet.tif",
    log:
        "logs/sheet.log",
    params:
        name=PLAN.area.name,
        map_date=str(PLAN.area.map_date),
        scale=PLAN.area.scale,
        interval_m=PLAN.area.contour_interval_m,
        settings=PLAN.section("sheet"),
        code=PLAN.code("sheet"),
    shell:
        "python -m pipeline sheet --draft {input.draft:q} --outline {input.outline:q} --survey {input.survey:q} --season {input.season:q}"
        " --pdf {output.pdf:q} --png {output.png:q} --tif {output.tif:q} --name {params.name:q}"
        " --map-date {params.map_date} --scale {params.scale} --interval-m {params.interval_m}"
        " --settings {params.settings:q} 2> {log:q}"


rule manifest:
    """What went in, what came out, with which settings and versions."""
    input:
        draft="draft.gpkg",
        sheet="sheets/field_sheet.pdf",
        survey="report/survey.json",
        points=expand("points/{tile}.laz", tile=PLAN.tile_names),
        slope="rasters/slope.tif",
        understorey="rasters/understorey.tif",
        ground="work/ground_choice.json",
    output:
        "manifest.json",
    log:
        "logs/manifest.log",
    params:
        plan=PLAN.summary,
        code=PLAN.code("manifest"),
    shell:
        "python -m pipeline manifest --folder . --plan work/plan.json --ground {input.ground:q} --out {output:q} 2> {log:q}"
