"""Make an invented place and survey it from the air, in the computer; nothing of it is real.

    python sample_tiles/make_scene.py                     the four tiles of this folder, as they were made
    python sample_tiles/make_scene.py --seed 7 --out /some/folder --truth
    python sample_tiles/make_scene.py --size-m 1000 --pulses-per-m2 8 --tile-m 250 --out /some/folder

The same seed, size and density give the same point records. With --truth the folder also gets what is really there
(truth.gpkg, truth_*.tif, tiles/*.truth.npz), to judge a draft by; the tiles then go into its `tiles/`.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from scene.place import make_place
from scene.pulses import fly
from scene.records import join, write_sources, write_tiles, write_truth

HERE = Path(__file__).resolve().parent
SAMPLE_SEED = 13


def corner_of(seed: int) -> tuple[float, float]:
    """South-west corner of a scene: somewhere in zone 32, on whole 300 m, different for each seed."""
    return 546_000.0 + 1_500.0 * (seed % 20), 5_712_000.0 + 1_500.0 * (seed // 20 % 20)


def main(arguments: list[str] | None = None) -> int:
    """Make one scene; returns the exit status."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--size-m", type=float, default=300.0, help="side of the square, metres (default 300)")
    parser.add_argument("--tile-m", type=float, default=150.0, help="side of a tile, metres (default 150)")
    parser.add_argument(
        "--pulses-per-m2", type=float, default=6.0, help="pulses a square metre, all flight lines together"
    )
    parser.add_argument("--seed", type=int, default=SAMPLE_SEED, help="another seed is another place")
    parser.add_argument("--out", type=Path, default=HERE, help="folder to write to")
    parser.add_argument("--truth", action="store_true", help="also write what is really there")
    chosen = parser.parse_args(arguments)
    origin, base_m = corner_of(chosen.seed), 285.0
    place = make_place(seed=chosen.seed, size_m=chosen.size_m)
    returns = join(fly(place, seed=chosen.seed, pulses_per_m2=chosen.pulses_per_m2))
    folder = chosen.out / "tiles" if chosen.truth else chosen.out
    tiles = write_tiles(returns, folder, origin=origin, size_m=chosen.size_m, tile_m=chosen.tile_m, base_m=base_m)
    if chosen.truth:
        write_sources(returns, folder, origin=origin, size_m=chosen.size_m, tile_m=chosen.tile_m)
        write_truth(place, chosen.out, origin=origin, base_m=base_m)
    print(f"{len(returns.x)} returns in {len(tiles)} tiles in {folder}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
