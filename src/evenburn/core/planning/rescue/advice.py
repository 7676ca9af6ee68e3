"""What a person is told beside the numbers of a rescue."""

from __future__ import annotations

from dataclasses import dataclass

from evenburn.core.nouns.check import Level

NB = "\u00a0"


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One thing to know before going on: how grave it is, and in words."""

    level: Level
    text: str


def range_text(low_mm: float, high_mm: float) -> str:
    """Return a range of depths in words, rounded to what such a balance is worth: `0.02 to 0.35 mm`. Definition."""
    return f"{_depth(low_mm)} to {_depth(high_mm)}{NB}mm"


def _depth(depth_mm: float) -> str:
    if depth_mm == 0.0:
        return "0"
    return f"{depth_mm:.3f}" if depth_mm < 0.0095 else f"{depth_mm:.2f}" if depth_mm < 0.995 else f"{depth_mm:.1f}"
