"""Materials that must not be burnt, and those to be doubted, found by the words people use for them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A material to refuse or to doubt: the words that name it, and what it gives off."""

    name: str
    words: tuple[str, ...]
    level: Literal["forbidden", "doubtful"]
    why: str


def find_material(materials: tuple[Material, ...], *names: str) -> Material | None:
    """Return the worst material that any of the names mentions as a word, or None. Definition."""
    text = " ".join(names).lower()
    hits = [m for m in materials if any(re.search(rf"(?<![a-z]){re.escape(word)}(?![a-z])", text) for word in m.words)]
    return min(hits, key=lambda m: m.level != "forbidden", default=None)
