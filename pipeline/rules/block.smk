# Looped over working blocks.


rule choose_ground:
    """Whose ground the area uses, decided from a few blocks.

    Try: snakemake -c1 work/ground_choice.json
    """
    input:
        split=PLAN.splits_of_choice,
    output:
        "work/ground_choice.json",
    log:
        "logs/choose_ground.log",
    resources:
        mem_mb=2500,
    params:
        blocks=PLAN.blocks_of_choice,
        content=PLAN.content,
        flow=PLAN.section("flow"),
        settings=PLAN.section("points"),
        code=PLAN.code("choose_ground"),
    shell:
        "python -m pipeline choose_ground --split {input.split:q} --blocks {params.blocks} --out {output:q}"
        " --flow {params.flow:q} --settings {params.settings:q} 2> {log:q}"


rule block:
    """Classes, rasters and boulder candidates of one block, from one reading of it and its halo.

    Try: snakemake -c1 work/grids/BLOCK
    """
    input:
        split=lambda wildcards: PLAN.splits_around(wildcards.block),
        choice="work/ground_choice.json",
    output:
        classified=directory("work/classified/{block}"),
        grids=directory("work/grids/{block}"),
        boulders="work/boulders/{block}.gpkg",
    # The area waits for grids; nothing waits for the tiles written back.
    priority: 1
    log:
        "logs/block/{block}.log",
    resources:
        mem_mb=2500,
    params:
        content=lambda wildcards: PLAN.content_around(wildcards.block),
        crs=PLAN.crs,
        cell_m=PLAN.cell_m,
        flow=PLAN.section("flow"),
        settings=PLAN.section("points"),
        roofs=PLAN.section("roofs"),
        wires=PLAN.section("wires"),
        terrain=PLAN.section("terrain"),
        layers=PLAN.layers,
        code=PLAN.code("block"),
    shell:
        "python -m pipeline block --split {input.split:q} --choice {input.choice:q} --classified {output.classified:q}"
        " --grids {output.grids:q} --boulders {output.boulders:q} --block={wildcards.block} --crs {params.crs:q}"
        " --cell-m {params.cell_m} --flow {params.flow:q} --settings {params.settings:q} --roofs {params.roofs:q}"
        " --wires {params.wires:q} --terrain {params.terrain:q} --layers {params.layers:q} 2> {log:q}"
