"""Whose ground the area uses, decided from evidence measured on a few blocks."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

from pipeline.files import arrays as archives
from pipeline.lattice.blocks import block_named
from pipeline.points.classes import own_ground
from pipeline.points.producer import GroundEvidence, ground_evidence
from pipeline.points.producer import choose_ground as choose_from
from pipeline.returns.asprs import GROUND
from pipeline.settings import (
    Flow,
    PointsSettings,
)
from pipeline.steps.block.reading import engine, laid_out


def choose_ground(*, split: list[Path], blocks: list[str], out: Path, flow: Flow, settings: PointsSettings) -> None:
    """Whose ground the area uses: as the settings say, or decided from evidence measured on a few blocks."""
    evidence = GroundEvidence()
    for name in blocks if settings.ground_from == "auto" else []:
        block = block_named(name, flow.block_m)
        cloud, _ = archives.join_returns(laid_out(split, block), names=())
        usable = cloud.take(cloud.is_usable)
        if (usable.producer_class == GROUND).any():
            own = own_ground(usable, settings=settings, find_ground=engine(settings))
            evidence += ground_evidence(
                usable.enh, own, usable.producer_class == GROUND, usable.is_last, usable.within(block.bounds)
            )
    if settings.ground_from == "auto":
        archives.write_json(out, asdict(choose_from(evidence)))
    else:
        archives.write_json(out, {"ground_from": settings.ground_from, "reason": "As the area file says."})
