"""What no draft shows, whatever the survey: kinds of feature that nothing in a cloud of returns tells."""

from __future__ import annotations

NEVER_FOUND = {
    "marshes other than indistinct ones": ("307", "308", "309"),
    "wells and prominent water features": ("311", "313"),
    "very broken ground, trenches and dangerous pits": ("114", "115", "203.2", "215"),
    "fields, and cultivation boundaries": ("412", "415"),
    "scattered bushes, and special single plants": ("402.1", "404.1", "419"),
    "railways, bridges, stairways and canopies": ("509", "512", "522", "532"),
    "crossing points, ruins, towers, racks and other small built things": (
        "517", "518", "519", "523", "524", "525", "527", "528", "529",
    ),
}  # fmt: skip
"""Kinds of feature in a mapper's words -> their symbols of ISOM 2017-2. None of them is drawn from lidar; maps of other
people that the area file borrows may bring some of them in."""
LEGAL = (
    "whether water, a cliff, a wall or a fence may be crossed",
    "what is private, protected or forbidden (520)",
    "what has changed since the flight",
)
"""What the map must say, and what nobody can see from the air."""


def what_is_never_shown() -> list[str]:
    """The sentences on what no draft shows, for the end of a run and for the user's guide."""
    return [
        f"From lidar alone never: {'; '.join(NEVER_FOUND)}.",
        f"Nor: {'; '.join(LEGAL)}.",
        "Of small paths it shows the few that lie in the relief. Ask whoever knows the place, and look on foot.",
    ]
