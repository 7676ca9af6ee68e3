"""A photograph that is refused: why, with the numbers seen, and what to do."""

from __future__ import annotations

from evenburn.core.errors import EvenburnError


class PhotographRefused(EvenburnError):
    """A photograph from which no number is told; `code` names the reason, `text` what was seen, `remedy` what to do."""

    def __init__(self, code: str, text: str, *, remedy: str) -> None:
        super().__init__(text, hint=remedy)
        self.code = code
        self.text = text
        self.remedy = remedy
