"""Text broken into lines for a width, or for a box it is to fill as large as it can."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from evenburn.adapters.artwork.breaking import (
    HYPHENS,
    SOFT_HYPHEN,
    SPACES,
    ZERO_WIDTH_SPACE,
    Chunk,
    break_lines,
    break_points,
    narrowest,
)
from evenburn.adapters.artwork.fonts import OpenedFont
from evenburn.adapters.artwork.lettering import Align, box_of, shape_lines, upright

TRIED = 3  # numbers of lines whose setting is measured; the others are set aside by an estimate
WORTH_BREAKING = 1.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrapped:
    """A text with line feeds where it is broken, and the em at which it fills its box. [mm]"""

    text: str
    em_mm: float


def plain(text: str) -> str:
    """Return a text without the characters that only tell where it may be broken."""
    return text.replace(SOFT_HYPHEN, "").replace(ZERO_WIDTH_SPACE, "")


def wrap_lines(text: str, font: OpenedFont, *, width_em: float, tracking_em: float) -> str:
    """Return a text with line feeds where it is best broken to a width."""
    parts, chunks = _chunks(text, font, tracking_em=tracking_em, in_words=False)
    ends = break_lines(chunks, width=width_em)
    if any(letter in text for letter in HYPHENS):
        finer_parts, finer = _chunks(text, font, tracking_em=tracking_em, in_words=True)
        finer_ends = break_lines(finer, width=width_em)
        if len(finer_ends) < len(ends) or any(chunk.width > width_em for chunk in chunks):
            parts, ends = finer_parts, finer_ends
    return _joined(parts, ends)


def wrap_to_fit(
    text: str,
    font: OpenedFont,
    *,
    box_mm: tuple[float, float],
    align: Align,
    tracking_em: float,
    leading_em: float,
) -> Wrapped:
    """Return the breaks at which a text fills a box with the largest letters: every number of lines is tried.

    Words are broken at their hyphens only where that makes the letters a tenth larger.
    """

    def filled(*, in_words: bool) -> Wrapped:
        parts, chunks = _chunks(text, font, tracking_em=tracking_em, in_words=in_words)
        return _largest(parts, chunks, font, box_mm=box_mm, align=align, tracking_em=tracking_em, leading_em=leading_em)

    whole = filled(in_words=False)
    if not any(letter in text for letter in HYPHENS):
        return whole
    broken = filled(in_words=True)
    return broken if broken.em_mm > WORTH_BREAKING * whole.em_mm else whole


def _largest(
    parts: list[str],
    chunks: list[Chunk],
    font: OpenedFont,
    *,
    box_mm: tuple[float, float],
    align: Align,
    tracking_em: float,
    leading_em: float,
) -> Wrapped:
    letter_em = font.cap_height_em
    estimates: list[tuple[float, int, float]] = []
    for lines in range(1, len(chunks) + 1):
        high_em = (lines - 1) * leading_em + letter_em
        if estimates and box_mm[1] / high_em < 0.7 * max(estimates)[0]:
            break  # more lines are only higher
        width_em = narrowest(chunks, lines=lines)
        if 0.0 < width_em < float("inf"):
            estimates.append((min(box_mm[0] / width_em, box_mm[1] / high_em), -lines, width_em))
    best: Wrapped | None = None
    for _, _, width_em in sorted(estimates, reverse=True)[:TRIED]:
        broken = _joined(parts, break_lines(chunks, width=width_em))
        shaped = shape_lines(broken, font, tracking_em=tracking_em)
        x0, y0, x1, y1 = box_of(upright(shaped, font, align=align, leading_em=leading_em), font)
        em_mm = min(box_mm[0] / (x1 - x0), box_mm[1] / (y1 - y0))
        if best is None or em_mm > best.em_mm:
            best = Wrapped(text=broken, em_mm=em_mm)
    if best is None:  # nothing but what has no width: let the setting say so
        text = plain("".join(parts))
        box_of(upright(shape_lines(text, font, tracking_em=tracking_em), font, align=align, leading_em=1.0), font)
        return Wrapped(text=text, em_mm=0.0)
    return best


def _chunks(text: str, font: OpenedFont, *, tracking_em: float, in_words: bool) -> tuple[list[str], list[Chunk]]:
    """Return the parts of a text between places it may be broken, and the room they take. [em]"""
    parts: list[str] = []
    chunks: list[Chunk] = []
    hyphen_em = font.advance_em("-") + tracking_em
    for written in text.split("\n"):
        row = written.rstrip()
        (shaped,) = shape_lines(row, font, tracking_em=tracking_em)
        room = [0.0] * len(row)  # what each character moves the pen by, its letter's first one by all of it
        for cluster in shaped.clusters:
            room[cluster.start] += cluster.advance_units / font.upem + tracking_em
        cuts = [0, *break_points(row, in_words=in_words), len(row)]
        for begin, end in pairwise(cuts):
            part = row[begin:end]
            body = begin + len(part.rstrip("".join(SPACES)))
            soft = row[body - 1 : body] == SOFT_HYPHEN
            parts.append(part)
            chunks.append(
                Chunk(
                    width=sum(room[begin:body]),
                    space=sum(room[body:end]),
                    tail=(hyphen_em if soft else 0.0) - tracking_em,
                    closes=end == len(row),
                )
            )
    return parts, chunks


def _joined(parts: list[str], ends: list[int]) -> str:
    """Return the parts as lines that end after the given ones."""
    lines, begin = [], 0
    for end in ends:
        line = "".join(parts[begin:end]).rstrip("".join(SPACES))
        shown = plain(line) + ("-" if line.endswith(SOFT_HYPHEN) else "")
        lines.append(shown)
        begin = end
    return "\n".join(lines)
