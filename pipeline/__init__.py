"""Tussock: from lidar tiles to the layered draft of an orienteering map.

In reading order:

settings     the area file and every threshold
errors       what a mapper can mend
coordinates  units of plan and height; the working CRS
grid         the lattice every raster lies on
blocks       the working blocks of the area
tiles        the tile table
survey       what there is, and what can be found in it
plan         all that is decided before a point is read
points       noise, ground, ASPRS classes
terrain      bare earth, relief, return profiles
features     what a feature is before the draft is composed
landform, rock, water, vegetation, manmade      the five sections of the ISOM
draft        composing one map
sheet        the printed field sheet
files        the only room that opens files
steps        one function a rule of the workflow
rules        the rules themselves
workflow     driving Snakemake
cli          the command
explain      writing the settings down
"""
