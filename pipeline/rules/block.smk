# Looped over working blocks.


rule classify:
    """Noise, ground and ASPRS classes of one block.

    Try: snakemake -c1 work/classified/BLOCK
    """
    input:
        split=lambda wildcards: PLAN.splits_around(wildcards.block),
        decided="work/decided.json",
    output:
        temp(directory("work/classified/{block}")),
    log:
        "logs/classify/{block}.log",
    resources:
        mem_mb=lambda wildcards: PLAN.block_mem_mb(wildcards.block),
    params:
        content=lambda wildcards: PLAN.content_around(wildcards.block),
        flow=PLAN.section("flow"),
        settings=PLAN.section("points"),
        roofs=PLAN.section("roofs"),
        wires=PLAN.section("wires"),
        code=PLAN.code("classify"),
    shell:
        "python -m pipeline classify --split {input.split:q} --choice={input.decided:q} --out={output:q} --block={wildcards.block}"
        " --flow={params.flow:q} --settings={params.settings:q}"
        " --roofs={params.roofs:q} --wires={params.wires:q} 2> {log:q}"


rule grids:
    """Bare earth, support, canopy and counts of returns of one block.

    Try: snakemake -c1 work/grids/BLOCK
    """
    input:
        returns=lambda wildcards: PLAN.classified_around(wildcards.block),
        decided="work/decided.json",
    output:
        directory("work/grids/{block}"),
    # The area waits for grids; nothing waits for the tiles written back.
    priority: 1
    log:
        "logs/grids/{block}.log",
    resources:
        mem_mb=lambda wildcards: PLAN.block_mem_mb(wildcards.block),
    params:
        crs=PLAN.crs,
        flow=PLAN.section("flow"),
        terrain=PLAN.section("terrain"),
        layers=PLAN.layers,
        code=PLAN.code("grids"),
    shell:
        "python -m pipeline grids --returns {input.returns:q} --out={output:q} --block={wildcards.block}"
        " --crs={params.crs:q} --decided={input.decided:q} --flow={params.flow:q} --terrain={params.terrain:q}"
        " --layers={params.layers:q} 2> {log:q}"


rule boulders:
    """Boulder candidates of one block.

    Try: snakemake -c1 work/boulders/BLOCK.gpkg
    """
    input:
        returns=lambda wildcards: PLAN.classified_around(wildcards.block),
        decided="work/decided.json",
    output:
        "work/boulders/{block}.gpkg",
    log:
        "logs/boulders/{block}.log",
    resources:
        mem_mb=lambda wildcards: PLAN.block_mem_mb(wildcards.block),
    params:
        crs=PLAN.crs,
        flow=PLAN.section("flow"),
        code=PLAN.code("boulders"),
    shell:
        "python -m pipeline boulders --returns {input.returns:q} --out={output:q} --block={wildcards.block}"
        " --crs={params.crs:q} --decided={input.decided:q} --flow={params.flow:q} 2> {log:q}"
