# Looped over fields.


rule landform:
    """Contours and landforms of one field.

    Try: snakemake -c1 work/features/landform/FIELD.gpkg
    """
    input:
        bare_earth="rasters/bare_earth.tif",
        ground_support="rasters/ground_support.tif",
        canopy_height="rasters/canopy_height.tif",
    output:
        features="work/features/landform/{field}.gpkg",
        base_level="work/base_level/{field}.json",
    priority: FIRST
    log:
        "logs/landform/{field}.log",
    resources:
        mem_mb=PLAN.field_mem_mb,
    params:
        core=lambda wildcards: PLAN.core_of(wildcards.field),
        interval_m=PLAN.area.contour_interval_m,
        scale=PLAN.area.scale,
        settings=PLAN.section("landform"),
        kept="work/kept/landform/{field}",
        code=PLAN.code("landform"),
    shell:
        "python -m pipeline landform --bare-earth={input.bare_earth:q} --ground-support={input.ground_support:q}"
        " --canopy-height={input.canopy_height:q} --core={params.core} --out={output.features:q}"
        " --base-level={output.base_level:q} --interval-m={params.interval_m}"
        " --scale={params.scale} --settings={params.settings:q}"
        " --kept={params.kept:q} --code={params.code} 2> {log:q}"


rule rock:
    """Boulders, cliffs, stony ground and bare rock of one field.

    Try: snakemake -c1 work/features/rock/FIELD.gpkg
    """
    input:
        boulders=lambda wildcards: expand("work/boulders/{block}.gpkg", block=PLAN.blocks_of_field(wildcards.field)),
        bare_earth="rasters/bare_earth.tif",
        ground_support="rasters/ground_support.tif",
        canopy_height="rasters/canopy_height.tif",
        counts="work/counts",
        usual="work/usual_ground.json",
    output:
        "work/features/rock/{field}.gpkg",
    priority: SOON
    log:
        "logs/rock/{field}.log",
    resources:
        mem_mb=PLAN.field_mem_mb,
    params:
        blocks=lambda wildcards: PLAN.blocks_of_field(wildcards.field),
        core=lambda wildcards: PLAN.core_of(wildcards.field),
        settings=PLAN.section("rock"),
        kept="work/kept/rock/{field}",
        code=PLAN.code("rock"),
    shell:
        "python -m pipeline rock --boulders=work/boulders --blocks {params.blocks} --bare-earth={input.bare_earth:q}"
        " --ground-support={input.ground_support:q} --canopy-height={input.canopy_height:q}"
        " --counts={input.counts:q} --usual={input.usual:q} --core={params.core} --out={output:q}"
        " --settings={params.settings:q}"
        " --kept={params.kept:q} --code={params.code} 2> {log:q}"


rule vegetation:
    """Open land, runnability, trees and boundaries of one field, and where rides may run.

    Try: snakemake -c1 work/features/vegetation/FIELD.gpkg
    """
    input:
        bare_earth="rasters/bare_earth.tif",
        canopy_height="rasters/canopy_height.tif",
        counts="work/counts",
        decided="work/decided.json",
    output:
        features="work/features/vegetation/{field}.gpkg",
        candidates=directory("work/ride_candidates/{field}"),
        running=temp(directory("work/running/{field}")),
    # The rides wait for it.
    priority: FIRST
    log:
        "logs/vegetation/{field}.log",
    resources:
        mem_mb=PLAN.field_mem_mb,
    params:
        core=lambda wildcards: PLAN.core_of(wildcards.field),
        settings=PLAN.section("vegetation"),
        kept="work/kept/vegetation/{field}",
        code=PLAN.code("vegetation"),
    shell:
        "python -m pipeline vegetation --bare-earth={input.bare_earth:q} --canopy-height={input.canopy_height:q}"
        " --counts={input.counts:q} --decided={input.decided:q} --core={params.core} --out={output.features:q}"
        " --candidates={output.candidates:q} --running={output.running:q}"
        " --settings={params.settings:q}"
        " --kept={params.kept:q} --code={params.code} 2> {log:q}"


rule manmade:
    """Buildings, roads, tracks, paths, power lines, walls, fences and hedges of one field.

    Try: snakemake -c1 work/features/manmade/FIELD.gpkg
    """
    input:
        # Lakes need not be flat for it.
        bare_earth="work/bare_earth_seen.tif",
        canopy_height="rasters/canopy_height.tif",
        counts="work/counts",
        water="work/features/water.gpkg",
    output:
        "work/features/manmade/{field}.gpkg",
    priority: LATER
    log:
        "logs/manmade/{field}.log",
    resources:
        mem_mb=PLAN.field_mem_mb,
    params:
        core=lambda wildcards: PLAN.core_of(wildcards.field),
        settings=PLAN.section("manmade"),
        kept="work/kept/manmade/{field}",
        code=PLAN.code("manmade"),
    shell:
        "python -m pipeline manmade --bare-earth={input.bare_earth:q} --canopy-height={input.canopy_height:q}"
        " --counts={input.counts:q} --water={input.water:q}"
        " --core={params.core} --out={output:q} --settings={params.settings:q}"
        " --kept={params.kept:q} --code={params.code} 2> {log:q}"
