"""A paragraph in which one face follows another on the same line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from evenburn.adapters.print.faces import Face, width_mm, wrap
from evenburn.adapters.print.page import Sheet


@dataclass(frozen=True, slots=True)
class Run:
    """Words in one face and size."""

    words: str
    face: Face
    size_pt: float


Line = tuple[Run, ...]


def wrap_runs(runs: Sequence[Run], *, width: float) -> tuple[Line, ...]:
    """Break runs, with a space between each and the next, into lines no wider than `width` mm."""
    lines: list[list[Run]] = [[]]
    taken = 0.0
    for run in runs:
        space = width_mm(" ", run.face, size_pt=run.size_pt)
        for whole in run.words.split(" ") if run.words else ():
            for word in wrap(whole, run.face, size_pt=run.size_pt, width=width):
                wide = width_mm(word, run.face, size_pt=run.size_pt)
                if lines[-1] and taken + space + wide > width:
                    lines.append([])
                if not lines[-1]:
                    taken = wide
                else:
                    taken += space + wide
                _add(lines[-1], run, word)
    return tuple(tuple(line) for line in lines)


def _add(line: list[Run], run: Run, word: str) -> None:
    """Put a word at the end of a line: to its last run where that has the same face, else as a run of its own."""
    if line and (line[-1].face, line[-1].size_pt) == (run.face, run.size_pt):
        line[-1] = Run(f"{line[-1].words} {word}", run.face, run.size_pt)
    else:
        line.append(Run(f" {word}" if line else word, run.face, run.size_pt))


def draw_runs(sheet: Sheet, x: float, y: float, lines: Sequence[Line], *, leading: float) -> None:
    """Write lines of runs below one another, the first baseline at y."""
    for number, line in enumerate(lines):
        at = x
        for run in line:
            at += sheet.text(at, y + number * leading, run.words, face=run.face, size_pt=run.size_pt)
