"""Names that Snakemake, shells and options take as they are, for tiles that may be called anything."""

from __future__ import annotations

import hashlib
import re

_LONGEST = 60  # letters of a tile's own name that are kept; file systems allow 255 bytes with what stands around it
_UNSAFE = re.compile(r"[^A-Za-z0-9_.-]+")


def safe_name(name: str, /) -> str:
    """The name itself where it holds only letters, digits, `_`, `.` and `-`, and begins with none of the last two.

    Any other name becomes a likeness of it and eight characters that tell it from others of that likeness: `x (1)`
    becomes `x_1_-` and eight digits. Braces would be wildcards to Snakemake, a leading dash an option.
    """
    likeness = _UNSAFE.sub("_", name).lstrip(".-")[:_LONGEST]
    if likeness == name:
        return name
    return f"{likeness or 'tile'}-{hashlib.sha256(name.encode('utf-8', 'surrogateescape')).hexdigest()[:8]}"
