"""Who answers for a doubtful material."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Confirmation:
    """Who made sure that a doubtful material may be burnt, and when; `on` is a date, empty where none was told."""

    by: str
    on: str = ""

    def words(self) -> str:
        """Return it in words."""
        return f"confirmed by {self.by}" + (f" on {self.on}" if self.on else ", the day not told")
