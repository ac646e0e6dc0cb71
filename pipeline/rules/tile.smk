# Looped over the survey's own tiles. Their files may be called anything, braces included, which Snakemake would take
# for wildcards: the paths are parameters of the rules, and what decides on running again is the content.


rule split:
    """Decode one tile, lay its returns out by working block, and tell what ground they cover.

    Try: snakemake -c1 work/seen/TILE
    """
    output:
        split=temp(directory("work/split/{tile}")),
        seen=directory("work/seen/{tile}"),
        # Needed until the tile is written back, far longer than the returns, and a fortieth as large.
        beside=temp(directory("work/beside/{tile}")),
    priority: FIRST
    log:
        "logs/split/{tile}.log",
    resources:
        mem_mb=lambda wildcards: PLAN.split_mem_mb(wildcards.tile),
    params:
        tile=lambda wildcards: PLAN.tile_path(wildcards.tile),
        source_crs=lambda wildcards: PLAN.placement(wildcards.tile).source_crs,
        height_unit_m=lambda wildcards: PLAN.placement(wildcards.tile).height_unit_m,
        crs=PLAN.crs,
        bounds=lambda wildcards: PLAN.tile_bounds(wildcards.tile),
        blocks=lambda wildcards: PLAN.blocks_reached(wildcards.tile),
        content=lambda wildcards: PLAN.tile_key(wildcards.tile),
        flow=PLAN.section("flow"),
        code=PLAN.code("split"),
    shell:
        "python -m pipeline split --tile={params.tile:q} --out={output.split:q} --seen={output.seen:q}"
        " --beside={output.beside:q} --bounds={params.bounds} --blocks {params.blocks}"
        " --source-crs={params.source_crs:q} --crs={params.crs:q} --height-unit-m={params.height_unit_m}"
        " --flow={params.flow:q} 2> {log:q}"


rule label:
    """Write one tile back into `points/`, every return in its place, with its class; the record stands for it.

    Try: snakemake -c1 work/labelled/TILE.json
    """
    input:
        classified=lambda wildcards: PLAN.classified_of_tile(wildcards.tile),
        beside="work/beside/{tile}",
    output:
        "work/labelled/{tile}.json",
    log:
        "logs/label/{tile}.log",
    resources:
        mem_mb=lambda wildcards: PLAN.label_mem_mb(wildcards.tile),
    params:
        tile=lambda wildcards: PLAN.tile_path(wildcards.tile),
        points=lambda wildcards: PLAN.points_path(wildcards.tile),
        content=lambda wildcards: PLAN.tile_key(wildcards.tile),
        code=PLAN.code("label"),
    shell:
        "python -m pipeline label --tile={params.tile:q} --classified {input.classified:q} --beside={input.beside:q}"
        " --out={params.points:q} --record={output:q} 2> {log:q}"
