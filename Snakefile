# From lidar tiles and one area file to the layered draft of an orienteering map.
#
#   snakemake --cores 2                                 the bundled sample, sample_tiles/area.yaml
#   snakemake --cores 2 --config area=my/area.yaml      another area
#
# `tussock draft AREA` does the same with a progress display. The workflow itself lies in the package, so that an
# installed `tussock` finds it as well.
include: "pipeline/rules/main.smk"


# Snakemake takes the first rule of this very file as what to make; the list itself stands in the included rule `all`.
rule draft:
    default_target: True
    input:
        rules.all.input,
