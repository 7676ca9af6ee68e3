"""How long work tells what it is doing: what, how many steps are done, and of how many. What it raises stops the work."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[str, int, int], None]


def no_progress(_what: str, _done: int, _of: int) -> None:
    """Report no progress."""
