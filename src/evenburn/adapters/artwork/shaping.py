"""One line of text shaped: which glyph stands where. HarfBuzz shapes; python-bidi orders mixed directions."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import uharfbuzz as hb
from bidi import algorithm as bidi_steps
from fontTools import unicodedata as scripts

from evenburn.adapters.artwork.fonts import OpenedFont

_TURNERS = {"R", "AL", "AN", "LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
_COMMON = ("Zyyy", "Zinh", "Zzzz")


@dataclass(frozen=True, slots=True, kw_only=True)
class Glyph:
    """One shaped glyph: where its origin stands on a line whose baseline is y = 0. [font units]"""

    glyph: int
    x_units: float
    y_units: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """A letter with its marks, or a ligature: where it begins, how far it moves the pen, and its glyphs. [font units]

    `start` is the index in the line of its first character.
    """

    start: int
    x_units: float
    advance_units: float
    glyphs: tuple[Glyph, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One shaped line, its clusters from left to right as seen, and the characters the font lacks. [font units]"""

    clusters: tuple[Cluster, ...]
    width_units: float
    lacking: tuple[str, ...]


def shape_line(line: str, font: OpenedFont, *, tracking_em: float) -> Line:
    """Shape one line from left to right; tracking widens every gap between letters and leaves ligatures out."""
    tracking = tracking_em * font.upem
    features = {"liga": False, "clig": False} if tracking else {}
    clusters: list[Cluster] = []
    lacking: list[str] = []
    pen_x = pen_y = 0.0
    codes = [ord(letter) for letter in line]
    for start, end, level, script in _runs(line):
        buffer = hb.Buffer()
        buffer.add_codepoints(codes, start, end - start)  # with its neighbours for context
        buffer.direction = "rtl" if level % 2 else "ltr"
        buffer.script = script
        buffer.guess_segment_properties()
        hb.shape(font.shaper, buffer, features)
        infos, positions = buffer.glyph_infos, buffer.glyph_positions
        firsts = [*sorted({info.cluster for info in infos}), end]
        following = dict(pairwise(firsts))
        cluster: int | None = None
        begun = pen_x
        glyphs: list[Glyph] = []
        for info, position in zip(infos, positions, strict=True):
            if info.codepoint == 0:
                part = line[info.cluster : following[info.cluster]]
                lacking += [letter for letter in part if not font.has(letter)] or [part]
            if cluster is not None and info.cluster != cluster:
                clusters.append(_cluster(cluster, begun, pen_x, glyphs))
                glyphs = []
                pen_x += tracking
                begun = pen_x
            cluster = info.cluster
            glyphs.append(
                Glyph(
                    glyph=info.codepoint,
                    x_units=pen_x + position.x_offset,
                    y_units=pen_y + position.y_offset,
                )
            )
            pen_x += position.x_advance
            pen_y += position.y_advance
        if cluster is not None:
            clusters.append(_cluster(cluster, begun, pen_x, glyphs))
        pen_x += tracking
    width = pen_x - (tracking if clusters else 0.0)
    return Line(clusters=tuple(clusters), width_units=width, lacking=tuple(lacking))


def _cluster(start: int, begun: float, ended: float, glyphs: list[Glyph]) -> Cluster:
    return Cluster(start=start, x_units=begun, advance_units=ended - begun, glyphs=tuple(glyphs))


def _runs(line: str) -> list[tuple[int, int, int, str]]:
    """Return start, end, level and script of the runs of a line, from left to right as they are seen."""
    levels, writing = _levels(line), _scripts(line)
    cuts = [i for i in range(1, len(line)) if (levels[i], writing[i]) != (levels[i - 1], writing[i - 1])]
    runs = [(a, b, levels[a], writing[a]) for a, b in pairwise([0, *cuts, len(line)]) if a < b]
    highest = max(levels, default=0)
    for level in range(highest, 0, -1):  # Unicode Standard Annex 9, rule L2
        at = 0
        while at < len(runs):
            to = at
            while to < len(runs) and runs[to][2] >= level:
                to += 1
            runs[at:to] = reversed(runs[at:to])
            at = to + 1
    return runs


def _levels(line: str) -> list[int]:
    """Return the embedding level of each character (Unicode Standard Annex 9)."""
    if not any(unicodedata.bidirectional(letter) in _TURNERS for letter in line):
        return [0] * len(line)  # nothing runs from right to left
    base = bidi_steps.get_base_level(line)
    storage = bidi_steps.get_empty_storage()
    storage["base_level"], storage["base_dir"] = base, ("L", "R")[base]
    bidi_steps.get_embedding_levels(line, storage)
    for at, entry in enumerate(storage["chars"]):
        entry["at"] = at
    bidi_steps.explicit_embed_and_overrides(storage)
    bidi_steps.resolve_weak_types(storage)
    bidi_steps.resolve_neutral_types(storage, debug=False)
    bidi_steps.resolve_implicit_levels(storage, debug=False)
    found = {entry["at"]: int(entry["level"]) for entry in storage["chars"]}
    levels: list[int] = []
    for at in range(len(line)):  # joiners and the like take no part; they go with what stands before them
        levels.append(found.get(at, levels[-1] if levels else base))
    return levels


@lru_cache(maxsize=4096)
def script_of(letter: str) -> str:
    """Return the script of a character, by its four-letter code in the Unicode Standard."""
    return str(scripts.script(letter))


def _scripts(line: str) -> list[str]:
    """Return the script of each character; common ones go with their neighbour before, or else after."""
    own = [script_of(letter) for letter in line]
    first = next((script for script in own if script not in _COMMON), "Latn")
    out: list[str] = []
    for script in own:
        out.append(script if script not in _COMMON else out[-1] if out else first)
    return out
