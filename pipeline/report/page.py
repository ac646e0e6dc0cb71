"""The page put together: one HTML file that needs no other and asks no network for anything."""

from __future__ import annotations

import base64
import hashlib
import html
import re
from collections.abc import Mapping
from dataclasses import dataclass

from pipeline.report.blocks import data_block
from pipeline.report.looks import Json

SCRIPTS = ("data.js", "marks.js", "paint.js", "map.js", "here.js", "checks.js", "changes.js", "tables.js", "page.js")
"""Parts of the script in the order in which they are read; all share one scope that nothing outside sees."""
PICTURE_OF_LIBRARY = re.compile(r"url\([^)]*\)")
"""Pictures that the library's style names and the page does not use: they lie in no file of ours."""


@dataclass(frozen=True)
class Parts:
    """Texts that ship with the code: file name -> content."""

    own: Mapping[str, str]
    library: Mapping[str, str]


def page_of(name: str, blocks: Mapping[str, Json], parts: Parts, /) -> str:
    """The page as HTML.

    Parameters
    ----------
    name : of the area, as its user wrote it
    blocks : data by name; the script shows what it knows and stands without the others

    A rule for browsers (Content Security Policy) stands at the top: it names the page's own script and style by their
    checksums, allows pictures that lie in the page, and forbids everything else, the network first of all.
    """
    own = "\n".join(parts.own[part] for part in SCRIPTS)
    script = f"{parts.library['leaflet.js']}\n(() => {{\n'use strict';\n{own}\n}})();"
    style = PICTURE_OF_LIBRARY.sub("none", parts.library["leaflet.css"]) + parts.own["page.css"]
    rules = (
        "default-src 'none'; base-uri 'none'; form-action 'none'; img-src data: blob:; "
        f"script-src '{_checksum(script)}'; style-src '{_checksum(style)}'"
    )
    filled = {
        "title": html.escape(name),
        "rules": rules,
        "style": style,
        "script": script,
        "licence": html.escape(parts.library["LICENSE"]),
        "blocks": "\n".join(data_block(block, content) for block, content in blocks.items()),
    }
    return re.sub(r"\{\{(\w+)\}\}", lambda found: filled[found[1]], parts.own["page.html"])


def _checksum(text: str) -> str:
    """How a Content Security Policy names a script or style."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}"
