"""The font of all pictures as a file, for documents that are written without the plotting library."""

from __future__ import annotations

from pathlib import Path

from matplotlib.font_manager import FontProperties, findfont


def font_file() -> Path:
    """The font's TrueType file, which ships with the plotting library."""
    return Path(findfont(FontProperties(family="DejaVu Sans")))
