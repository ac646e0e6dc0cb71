"""Where features of different sections meet."""

from __future__ import annotations

from pipeline.settings.section import Section


class ComposeSettings(Section):
    """What happens where features of different themes meet."""
