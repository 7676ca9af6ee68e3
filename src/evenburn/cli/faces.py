"""How errors look on a terminal."""

from __future__ import annotations

import sys
from collections.abc import Iterable


def show_error(lines: Iterable[str], *, hint: str) -> None:
    """Print one `error:` line for each thing that is wrong, then `try:` with what to do."""
    for line in lines:
        print(f"error: {line}", file=sys.stderr)
    if hint:
        print(f"try: {hint}", file=sys.stderr)
