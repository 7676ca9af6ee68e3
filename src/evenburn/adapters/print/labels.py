"""What a mark is called in a row too narrow for all of it."""

from __future__ import annotations

import re
from collections.abc import Collection
from pathlib import PurePosixPath

from evenburn.adapters.print import figures as fig
from evenburn.adapters.print.faces import ELLIPSIS, SANS, shorten, width_mm
from evenburn.core.nouns.mark import Mark
from evenburn.core.nouns.plan import PiecePlan

_QUOTED = re.compile("“(.*)”(?: in [^“”]*)?", re.DOTALL)
_QUOTES = "“”"


def artwork(mark: Mark) -> str:
    """Return the lettering of a mark in its quotes without its face, or the name of its file without its folder."""
    quoted = _QUOTED.fullmatch(mark.art_label)
    if quoted is not None:
        return f"“{quoted.group(1)}”"
    return PurePosixPath(mark.art_label.replace("\\", "/")).name or mark.art_label


def mark_label(piece: PiecePlan, index: int) -> str:
    """Return a mark's name and artwork; the name is left out where it is but the letter that stands before it."""
    mark = piece.marks[index].mark
    words = artwork(mark)
    if not words:
        return mark.id
    return words if mark.id == fig.letter(index) else f"{mark.id}, {words}"


def about_marks(piece: PiecePlan, indices: Collection[int]) -> str:
    """Return `Mark a: ` or `Marks a, b: ` before what is said of some marks; nothing where the piece has but one."""
    if len(piece.marks) < 2 or not indices:
        return ""
    letters = [fig.letter(index) for index in sorted(indices)]
    return f"Mark {letters[0]}: " if len(letters) == 1 else f"Marks {', '.join(letters)}: "


def fitted_label(piece: PiecePlan, index: int, *, size_pt: float, width: float) -> str:
    """Return a mark's label; where it is too wide for `width` mm the artwork alone, and only then cut."""
    for words in (mark_label(piece, index), artwork(piece.marks[index].mark)):
        if words and width_mm(words, SANS, size_pt=size_pt) <= width:
            return words
    words = artwork(piece.marks[index].mark) or piece.marks[index].mark.id
    if words[:1] + words[-1:] != _QUOTES:
        return shorten(words, SANS, size_pt=size_pt, width=width)
    closing = width_mm("”", SANS, size_pt=size_pt)
    cut = shorten(words[:-1], SANS, size_pt=size_pt, width=width - closing)
    return cut + "”" if cut.endswith(ELLIPSIS) else words
