# Looped over the survey's own tiles.


rule split:
    """Decode one tile and lay its returns out by working block.

    Try: snakemake -c1 work/split/TILE
    """
    input:
        tile=lambda wildcards: ancient(local(PLAN.tile_path(wildcards.tile))),
    output:
        temp(directory("work/split/{tile}")),
    log:
        "logs/split/{tile}.log",
    resources:
        mem_mb=2000,
    params:
        source_crs=lambda wildcards: PLAN.placement(wildcards.tile).source_crs,
        height_unit_m=lambda wildcards: PLAN.placement(wildcards.tile).height_unit_m,
        crs=PLAN.crs,
        bounds=lambda wildcards: PLAN.tile_bounds(wildcards.tile),
        blocks=lambda wildcards: PLAN.blocks_reached(wildcards.tile),
        content=lambda wildcards: PLAN.tile_key(wildcards.tile),
        flow=PLAN.section("flow"),
        code=PLAN.code("split"),
    shell:
        "python -m pipeline split --tile {input.tile:q} --out {output:q} --tile-key {params.content}"
        " --bounds {params.bounds} --blocks {params.blocks}"
        " --source-crs {params.source_crs:q} --crs {params.crs:q} --height-unit-m {params.height_unit_m} --flow {params.flow:q} 2> {log:q}"


rule label:
    """Write one tile back, every return in its place, with its class.

    Try: snakemake -c1 points/TILE.laz
    """
    input:
        tile=lambda wildcards: ancient(local(PLAN.tile_path(wildcards.tile))),
        classified=lambda wildcards: PLAN.classified_of_tile(wildcards.tile),
    output:
        "points/{tile}.laz",
    log:
        "logs/label/{tile}.log",
    resources:
        mem_mb=2000,
    params:
        key=lambda wildcards: PLAN.tile_key(wildcards.tile),
        code=PLAN.code("label"),
    shell:
        "python -m pipeline label --tile {input.tile:q} --classified {input.classified:q} --out {output:q}"
        " --tile-key {params.key} 2> {log:q}"
