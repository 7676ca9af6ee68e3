"""Findings about a plan, as data."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Level = Literal["stop", "warn", "note"]
LEVELS: tuple[Level, ...] = ("stop", "warn", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fix:
    """One change that would answer a check: in words, and as keys of batch.toml with their new values.

    `target` is "piece" or the mark's id.
    """

    text: str
    price: str
    target: str
    change: tuple[tuple[str, float | str | tuple[float, float]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One finding: level, a stable code, what was found, what to do. `mark_id` is empty for the whole piece."""

    level: Level
    code: str
    text: str
    remedy: str
    mark_id: str = ""
    fixes: tuple[Fix, ...] = ()


def worst_first(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Return checks, stops before warns before notes, otherwise in their order. Definition."""
    return tuple(sorted(checks, key=lambda check: LEVELS.index(check.level)))
