"""How errors look on a terminal."""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Iterable

TURNS_TEXT = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"


def show_error(lines: Iterable[str], *, hint: str) -> None:
    """Print one `error:` line for each thing that is wrong, then `try:` with what to do."""
    for line in lines:
        print(f"error: {_shown(line)}", file=sys.stderr)
    if hint:
        print(f"try: {_shown(hint)}", file=sys.stderr)


def _shown(text: str) -> str:
    """Return a text in one line, with a sign for what would act on the terminal: it may quote a file from anywhere."""
    line = " ".join(text.splitlines())
    return "".join("\ufffd" if unicodedata.category(c) in ("Cc", "Cs") or c in TURNS_TEXT else c for c in line)
