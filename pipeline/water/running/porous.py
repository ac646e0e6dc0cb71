"""Porous ground, such as lava, karst and dunes: its valleys are dry, as water sinks where it falls."""

from __future__ import annotations

from dataclasses import dataclass

LEAST_FLOOR_M = 1000.0
"""Length of valley floor, in metres, from which the ground is judged by it. Shorter ones may show no bed by chance.
Our choice."""
POROUS_MAX_SHARE = 0.1
"""Share of the valley floors to which enough ground drains for the climate to run that show a bed; below it the ground
is porous: the length of bed for each square kilometre, the drainage density, is then a tenth of what the relief asks
for. Our choice."""


@dataclass(frozen=True)
class Floors:
    """The valley floors of an area to which enough ground drains for water to run, and what they say about the ground.

    Attributes
    ----------
    ground_km2 : float
        Ground that was seen.
    floor_m : float
        Length of the valley floors, metres.
    bed_m : float
        Length along which a bed is cut in.
    told : bool or None
        What the area file says: water sinks, runs off, or nothing.
    """

    ground_km2: float
    floor_m: float
    bed_m: float
    told: bool | None

    @property
    def tells(self) -> bool:
        """Whether there are enough valley floors to judge the ground by."""
        return self.floor_m >= LEAST_FLOOR_M

    @property
    def looks_porous(self) -> bool:
        """Whether hardly any valley floor shows a bed."""
        return self.tells and self.bed_m < POROUS_MAX_SHARE * self.floor_m

    @property
    def is_porous(self) -> bool:
        """Whether the ground is drawn as such: what was told, else what it looks like."""
        return self.looks_porous if self.told is None else self.told


def describe_floors(floors: Floors, /) -> str:
    """What the valley floors say about the ground and what follows for the area file, in a mapper's words."""
    of_bed = f"A bed is cut in along {floors.bed_m / max(floors.floor_m, 1e-9):.0%} of them" if floors.floor_m else ""
    density = f"{floors.bed_m / 1e3 / max(floors.ground_km2, 1e-9):.1f} km of bed on a square kilometre."
    lines = [
        "Running water",
        f"Valley floors to which enough ground drains for a stream to run: {floors.floor_m / 1e3:.1f} km.",
        *([f"{of_bed}: {density}"] if of_bed else []),
    ]
    if not floors.tells:
        lines.append(f"That is too little to tell whether water sinks here (at least {LEAST_FLOOR_M / 1e3:.0f} km).")
    elif floors.looks_porous:
        lines.append("The ground looks porous, such as lava, limestone or sand: its valleys show hardly any bed.")
    else:
        lines.append("The ground does not look porous: its valleys show beds.")
    drawn = "valleys without a bed are left dry" if floors.is_porous else "streams run in valleys without a bed as well"
    lines.append(f"Drawn so that {drawn}.")
    if floors.told is None:
        lines.append(
            f"Where that is wrong, write 'porous_ground: {str(not floors.is_porous).lower()}' in the area file."
        )
    elif floors.tells and floors.told != floors.looks_porous:
        lines.append(f"The area file says 'porous_ground: {str(floors.told).lower()}'. Look which is right.")
    return "\n".join(lines) + "\n"
