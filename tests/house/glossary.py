"""Reads docs/glossary.md: it is the list that the house's police go by, so list and page cannot drift apart."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from house.source import ROOT


@dataclass(frozen=True, slots=True, kw_only=True)
class Glossary:
    """What docs/glossary.md allows."""

    units: frozenset[str]
    pure: frozenset[str]


def glossary(text: str) -> Glossary:
    """Read both tables: the backticked words in the first column under each heading."""

    def column(heading: str) -> frozenset[str]:
        section = re.search(rf"^## {heading}$(.*?)(?=^## |\Z)", text, flags=re.MULTILINE | re.DOTALL)
        assert section, f"docs/glossary.md needs its section “## {heading}”"
        cells = re.findall(r"^\| *(`[^|]*)\|", section.group(1), flags=re.MULTILINE)
        words = {word for cell in cells for word in re.findall(r"`([^`]+)`", cell)}
        assert words, f"docs/glossary.md: the table under “## {heading}” has no `name` in its first column"
        return frozenset(words)

    units = frozenset(word.removeprefix("_") for word in column("Unit suffixes"))
    return Glossary(units=units, pure=column("Pure numbers"))


@cache
def house_glossary() -> Glossary:
    return glossary((ROOT / "docs" / "glossary.md").read_text(encoding="utf-8"))
