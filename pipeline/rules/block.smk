# Looped over working blocks.


rule block:
    """Classes, rasters and boulder candidates of one block, from one reading of it and its halo.

    Try: snakemake -c1 work/grids/BLOCK
    """
    input:
        split=lambda wildcards: PLAN.splits_around(wildcards.block),
        decided="work/decided.json",
    output:
        classified=temp(directory("work/classified/{block}")),
        grids=directory("work/grids/{block}"),
        boulders="work/boulders/{block}.gpkg",
        disputes="work/disputes/{block}.json",
    # Those of most returns first, so that no core has a long one left when the others have none.
    priority: lambda wildcards: FIRST + PLAN.returns_around(wildcards.block) / PLAN.n_returns
    log:
        "logs/block/{block}.log",
    resources:
        mem_mb=lambda wildcards: PLAN.block_mem_mb(wildcards.block),
    params:
        content=lambda wildcards: PLAN.content_around(wildcards.block),
        crs=PLAN.crs,
        flow=PLAN.section("flow"),
        settings=PLAN.section("points"),
        roofs=PLAN.section("roofs"),
        wires=PLAN.section("wires"),
        terrain=PLAN.section("terrain"),
        layers=PLAN.layers,
        kept="work/kept/block/{block}",
        code=PLAN.code("block"),
    shell:
        "python -m pipeline block --split {input.split:q} --decided={input.decided:q}"
        " --classified={output.classified:q} --grids={output.grids:q} --boulders={output.boulders:q} --disputes={output.disputes:q}"
        " --block={wildcards.block} --crs={params.crs:q} --flow={params.flow:q} --settings={params.settings:q}"
        " --roofs={params.roofs:q} --wires={params.wires:q} --terrain={params.terrain:q} --layers={params.layers:q}"
        " --kept={params.kept:q} --code={params.code}"
        " 2> {log:q}"
