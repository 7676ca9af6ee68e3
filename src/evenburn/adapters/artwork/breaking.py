"""Where lines of text may end, and where they end best.

Lines break after spaces, after hyphens and dashes inside words, and at zero width spaces and soft hyphens; never inside
a word, at a no-break space or beside a word joiner. Among all ways with the fewest lines, that with the least raggedness is
taken: the sum of the squares of what the lines fall short of the width, the last line's included.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

SPACES = frozenset(
    " \u1680\u2000\u2001\u2002\u2003\u2004\u2005\u2006\u2008\u2009\u200a\u205f\u3000"
)  # all but no-break
ZERO_WIDTH_SPACE = "\u200b"
SOFT_HYPHEN = "\u00ad"
_HYPHENS = "-\u2010\u2012\u2013"
_EM_DASH = "\u2014"
HYPHENS = _HYPHENS + SOFT_HYPHEN  # at which words are broken if need be
_GLUE = "\u2060\ufeff"
SAME_WIDTH = 1e-9  # widths are sums of font units over the units of an em


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """A part of a line that is never broken, with the room it takes, any unit.

    `width` is its own; `space` what stands between it and the next on the same line; `tail` what a line that ends with
    it shows besides (the hyphen of a soft hyphen). `closes` says whether the line must end here.
    """

    width: float
    space: float
    tail: float
    closes: bool


def break_lines(chunks: Sequence[Chunk], *, width: float) -> list[int]:
    """Return the chunk after each line's last one.

    A chunk wider than the width stands on a line by itself.

    Source
    ------
    [knuth1981]: breaks chosen for the whole paragraph at once, here by the sum of squares of the room left.
    """
    count = len(chunks)
    best: list[tuple[int, float, int]] = [(0, 0.0, count)] * (
        count + 1
    )  # from chunk i on: lines, raggedness, next break
    for start in range(count - 1, -1, -1):
        at = 0.0
        found: tuple[int, float, int] | None = None
        for last in range(start, count):
            chunk = chunks[last]
            full = at + chunk.width + chunk.tail
            if at + chunk.width > width + SAME_WIDTH and last > start:
                break
            if full <= width + SAME_WIDTH or last == start:
                lines, ragged, _ = best[last + 1]
                short = max(0.0, width - full)
                option = (lines + 1, ragged + short * short, last + 1)
                if found is None or option[:2] < found[:2]:
                    found = option
            if chunk.closes:
                break
            at += chunk.width + chunk.space
        best[start] = found if found is not None else (count, 0.0, count)  # never None: the first chunk always counts
    ends, at_chunk = [], 0
    while at_chunk < count:
        at_chunk = best[at_chunk][2]
        ends.append(at_chunk)
    return ends


def fewest_lines(chunks: Sequence[Chunk], *, width: float) -> int:
    """Return the fewest lines that hold chunks at a width: each line takes what it can."""
    lines, at, begun = 0, 0.0, False
    for chunk in chunks:
        if begun and at + chunk.width + chunk.tail > width + SAME_WIDTH:
            lines, at = lines + 1, 0.0
        at += chunk.width + chunk.space
        begun = not chunk.closes
        if chunk.closes:
            lines, at = lines + 1, 0.0
    return lines + (1 if begun else 0)


def narrowest(chunks: Sequence[Chunk], *, lines: int) -> float:
    """Return the least width at which chunks take no more than so many lines; infinite where they always take more."""
    high = sum(chunk.width + chunk.space + chunk.tail for chunk in chunks)
    if fewest_lines(chunks, width=high) > lines:
        return float("inf")
    low = max((chunk.width for chunk in chunks), default=0.0)
    if fewest_lines(chunks, width=low) <= lines:
        return low
    for _ in range(40):
        middle = 0.5 * (low + high)
        if fewest_lines(chunks, width=middle) <= lines:
            high = middle
        else:
            low = middle
    return high


def break_points(line: str, *, in_words: bool) -> list[int]:
    """Return after how many characters a line may be broken, at hyphens in words too or not; its end is not among them."""
    return [at for at in range(1, len(line)) if _may_break(line, at) and (in_words or line[at - 1] not in HYPHENS)]


def _may_break(line: str, at: int) -> bool:
    before, after = line[at - 1], line[at]
    if after in SPACES or after in _GLUE or before in _GLUE or unicodedata.category(after).startswith("M"):
        return False
    if before in SPACES or before in (ZERO_WIDTH_SPACE, SOFT_HYPHEN):
        return line[:at].strip() != "" and after != ZERO_WIDTH_SPACE
    inside = at >= 2 and line[at - 2].isalnum()
    if before in _HYPHENS:
        return inside and after.isalpha()
    return before == _EM_DASH and inside
