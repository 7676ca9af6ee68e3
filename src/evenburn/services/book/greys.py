"""The neutral grey of a tone, for stone: its L* as sRGB, as it is seen on a page."""

from __future__ import annotations

from functools import lru_cache

from evenburn.core.tone.colour import srgb_from_lab


@lru_cache(maxsize=256)
def grey_of(tone_L: float) -> str:
    """Return the grey of a tone as #rrggbb; what is beyond black or white is cut to it."""
    grey = round(255.0 * float(srgb_from_lab((tone_L, 0.0, 0.0))[1]))
    return f"#{grey:02x}{grey:02x}{grey:02x}"
