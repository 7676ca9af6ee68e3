"""Where a number comes from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ProvenanceKind = Literal["measured", "fitted", "published", "common practice", "starting value", "user"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """Origin of a number: its kind, and in words from what, when or under which key."""

    kind: ProvenanceKind
    detail: str = ""
