"""Data blocks of the page: what the script reads, each under a name of its own.

A block is a `script` element that no browser runs. What comes from outside, such as names of areas and notes, stands
in blocks only and is put on the page as text, so nothing in it can become part of the page's code.
"""

from __future__ import annotations

import base64
import json
import re
import zlib

from pipeline.report.looks import Json

PACKED_FROM = 2000
"""Characters from which a block is compressed: below, a reader of the file sees what it says (our choice)."""
LEVEL = 6
PICTURES = ("pictures", "calibration")
"""Blocks of pictures, which are compressed already."""
NAME = re.compile("[a-z_]+")


def data_block(name: str, content: Json, /) -> str:
    """One block as HTML; a long one is compressed (RFC 1950) and told in base64.

    Raises
    ------
    ValueError
        If the name is not made of small letters.
    """
    if not NAME.fullmatch(name):
        raise ValueError(f"'{name}' cannot name a data block")
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    if len(text) < PACKED_FROM or name in PICTURES:
        # Neither "</script>" nor "<!--" may stand in a script element.
        return f'<script type="application/json" id="data-{name}">{text.replace("<", chr(92) + "u003c")}</script>'
    packed = base64.b64encode(zlib.compress(text.encode(), LEVEL)).decode("ascii")
    return f'<script type="application/octet-stream" id="data-{name}">{packed}</script>'
