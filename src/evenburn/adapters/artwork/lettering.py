"""Text set in a face: outlines in em units.

Shaping (kerning, ligatures, joins, marks) is HarfBuzz's; the order of mixed left-to-right and right-to-left text is
python-bidi's. What ink the outlines leave stands in `ink`.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Literal, TypeAlias, get_args

import numpy as np
import uharfbuzz as hb
from bidi import algorithm as bidi_steps
from fontTools import unicodedata as scripts
from numpy.typing import NDArray

from evenburn.core.errors import InvalidInput, NotFound, StorageError, UnreadableFile

FloatArray: TypeAlias = NDArray[np.float64]
Align: TypeAlias = Literal["left", "centre", "right"]

FLATNESS_EM = 1.0 / 2000.0  # farthest a chord lies from its curve
MOST_CHARACTERS = 2000
MOST_FONT_BYTES = 64 * 1024 * 1024
MOST_GLYPH_POINTS = 50_000
MOST_GLYPH_EM = 100.0
TRACKING_EM = (-0.5, 5.0)
LEADING_EM = (0.1, 10.0)
_EMBEDDINGS = ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lettering:
    """Set text: closed outlines in em units, y up, baseline of the first line at y = 0.

    `contours` are (N, 2), without a repeated last point, to be filled by nonzero winding glyph by glyph; glyph i owns
    `contours[glyph_starts[i]:glyph_starts[i + 1]]`. `bounds_em` is the box of the ink: x0, y0, x1, y1.
    """

    contours: tuple[FloatArray, ...]
    glyph_starts: tuple[int, ...]
    bounds_em: tuple[float, float, float, float]


def set_text(
    text: str,
    font: Path,
    *,
    face_name: str,
    align: Align = "centre",
    tracking_em: float = 0.0,
    leading_em: float = 1.2,
) -> Lettering:
    """Set one or more lines of text (parted by line feeds) in a font and return their outlines.

    Tracking widens every gap between letters; with any, ligatures are left out, as is usual. Lines are aligned by
    their advance widths, spaces at their ends left out. Curves are flattened to within 1/2000 em.

    Raises
    ------
    InvalidInput
        If the text is blank, too long, holds control characters or a character the face has no glyph for, or if
        align, tracking_em or leading_em are outside what is allowed; all at once.
    UnreadableFile
        If the font is no TrueType or OpenType font with outlines.
    NotFound, StorageError
        If the font is not there, or cannot be read.
    """
    fields = _text_faults(text) | _layout_faults(align, tracking_em, leading_em)
    if fields:
        raise InvalidInput(fields)
    hb_font = _open_font(font, face_name)
    letters = frozenset(hb_font.face.unicodes)
    lines = []
    missing: dict[str, None] = {}
    for line in text.split("\n"):
        glyphs, lacking = _set_line(line.rstrip(), hb_font, letters, tracking_em)
        lines.append(glyphs)
        missing.update(dict.fromkeys(lacking))
    if missing:
        raise InvalidInput(
            {"text": f"{face_name} has no glyph for {', '.join(_called(letter) for letter in missing)}"},
            hint="choose another face, or write it with other characters",
        )
    return _lay_out(lines, _Outlines(hb_font, face_name), align, leading_em, face_name)


# --- what people may ask for ------------------------------------------------------------------------------------------


def _text_faults(text: str) -> dict[str, str]:
    if len(text) > MOST_CHARACTERS:
        return {"text": f"{len(text)} characters; allowed are at most {MOST_CHARACTERS}"}
    if not text.strip():
        return {"text": "nothing to engrave: the text is blank"}
    banned = dict.fromkeys(letter for letter in text if letter != "\n" and _is_control(letter))
    if banned:
        return {"text": f"{', '.join(_called(letter) for letter in banned)}: control characters are not allowed"}
    return {}


def _is_control(letter: str) -> bool:
    """Return whether a character is a control, a lone surrogate, a line separator or an embedding of directions."""
    kind = unicodedata.bidirectional(letter)
    return unicodedata.category(letter) in ("Cc", "Cs", "Zl", "Zp") or kind in _EMBEDDINGS


def _layout_faults(align: str, tracking_em: float, leading_em: float) -> dict[str, str]:
    fields = {}
    if align not in get_args(Align):
        fields["align"] = f"{align!r} is not known; allowed are {', '.join(get_args(Align))}"
    for name, value, (low, high) in (
        ("tracking_em", tracking_em, TRACKING_EM),
        ("leading_em", leading_em, LEADING_EM),
    ):
        if not low <= value <= high:  # so written, not-a-number is refused too
            fields[name] = f"{value:g} em; allowed is {low:g} to {high:g} em"
    return fields


def _called(letter: str) -> str:
    """Return a character as a message shows it: 漢 (U+6F22, CJK UNIFIED IDEOGRAPH-6F22)."""
    name = unicodedata.name(letter, "")
    code = f"U+{ord(letter):04X}, {name}" if name else f"U+{ord(letter):04X}"
    return f"{letter} ({code})" if letter.isprintable() and unicodedata.category(letter)[0] != "M" else code


def _open_font(font: Path, face_name: str) -> hb.Font:
    try:
        size = font.stat().st_size
        data = font.read_bytes() if size <= MOST_FONT_BYTES else b""
    except FileNotFoundError:
        raise NotFound(f"no font file for the face {face_name!r}") from None
    except OSError as fault:
        raise StorageError(f"the font file of {face_name!r} cannot be read: {fault.strerror}") from fault
    if size > MOST_FONT_BYTES:
        raise UnreadableFile(face_name, f"{size} bytes; a font may have at most {MOST_FONT_BYTES}")
    if not data:
        raise UnreadableFile(face_name, "the font file is empty")
    if data[:4] in (b"wOFF", b"wOF2"):
        raise UnreadableFile(face_name, "a packed web font", hint="unpack it to .ttf or .otf first")
    face = hb.Face(data)
    outlines = any(len(face.reference_table(tag)) for tag in ("glyf", "CFF ", "CFF2"))
    if face.glyph_count == 0 or not face.unicodes or not outlines:
        raise UnreadableFile(face_name, "no TrueType or OpenType font with outlines")
    return hb.Font(face)


# --- shaping ----------------------------------------------------------------------------------------------------------

Placed: TypeAlias = tuple[int, float, float]  # glyph, x and y of its origin, in font units


@dataclass(slots=True)
class _Line:
    glyphs: list[Placed]
    width: float


def _set_line(line: str, font: hb.Font, letters: frozenset[int], tracking_em: float) -> tuple[_Line, list[str]]:
    """Shape one line from left to right; return its glyphs and the characters the font lacks."""
    tracking = tracking_em * font.face.upem
    features = {"liga": False, "clig": False} if tracking else {}
    placed: list[Placed] = []
    lacking: list[str] = []
    pen_x = pen_y = 0.0
    codes = [ord(letter) for letter in line]
    for start, end, level, script in _runs(line):
        buffer = hb.Buffer()
        buffer.add_codepoints(codes, start, end - start)  # with its neighbours for context
        buffer.direction = "rtl" if level % 2 else "ltr"
        buffer.script = script
        buffer.guess_segment_properties()
        hb.shape(font, buffer, features)
        infos, positions = buffer.glyph_infos, buffer.glyph_positions
        firsts = [*sorted({info.cluster for info in infos}), end]
        following = dict(pairwise(firsts))
        cluster = None
        for info, position in zip(infos, positions, strict=True):
            if info.codepoint == 0:
                part = line[info.cluster : following[info.cluster]]
                lacking += [letter for letter in part if ord(letter) not in letters] or [part]
            if cluster is not None and info.cluster != cluster:
                pen_x += tracking
            cluster = info.cluster
            placed.append((info.codepoint, pen_x + position.x_offset, pen_y + position.y_offset))
            pen_x += position.x_advance
            pen_y += position.y_advance
        pen_x += tracking
    return _Line(placed, pen_x - (tracking if placed else 0.0)), lacking


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


def _scripts(line: str) -> list[str]:
    """Return the script of each character; common ones go with their neighbour before, or else after."""
    own = [scripts.script(letter) for letter in line]
    first = next((script for script in own if script not in ("Zyyy", "Zinh", "Zzzz")), "Latn")
    out: list[str] = []
    for script in own:
        settled = script not in ("Zyyy", "Zinh", "Zzzz")
        out.append(script if settled else out[-1] if out else first)
    return out


# --- outlines ---------------------------------------------------------------------------------------------------------


class _Outlines:
    """The flattened outlines of a font's glyphs in em units, each drawn once."""

    def __init__(self, font: hb.Font, face_name: str) -> None:
        self._font = font
        self._face_name = face_name
        self._kept: dict[int, tuple[FloatArray, ...]] = {}
        self.upem = float(font.face.upem)

    def glyph(self, glyph: int) -> tuple[FloatArray, ...]:
        if glyph not in self._kept:
            pen = _FlatPen(self.upem)
            self._font.draw_glyph_with_pen(glyph, pen)
            shapes = tuple(pen.closed())
            if sum(len(shape) for shape in shapes) > MOST_GLYPH_POINTS or any(
                np.abs(shape).max() > MOST_GLYPH_EM for shape in shapes
            ):
                raise UnreadableFile(self._face_name, "it draws a letter beyond all measure; the file is damaged")
            self._kept[glyph] = shapes
        return self._kept[glyph]


class _FlatPen:
    """Collects a glyph's contours, curves cut into chords that lie within FLATNESS_EM of them."""

    def __init__(self, upem: float) -> None:
        self._upem = upem
        self._contours: list[list[complex]] = []

    def moveTo(self, point: tuple[float, float]) -> None:
        self._contours.append([complex(*point) / self._upem])

    def lineTo(self, point: tuple[float, float]) -> None:
        self._contours[-1].append(complex(*point) / self._upem)

    def qCurveTo(self, *points: tuple[float, float]) -> None:
        a = self._contours[-1][-1]
        b, c = (complex(*point) / self._upem for point in points)
        # a chord over a share h of a curve B leaves it by at most h² max|B''| / 8
        pieces = math.ceil(math.sqrt(abs(2.0 * (a - 2.0 * b + c)) / (8.0 * FLATNESS_EM)))
        for t in _steps(pieces):
            self._contours[-1].append((1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c)

    def curveTo(self, *points: tuple[float, float]) -> None:
        a = self._contours[-1][-1]
        b, c, d = (complex(*point) / self._upem for point in points)
        bend = 6.0 * max(abs(a - 2.0 * b + c), abs(b - 2.0 * c + d))
        pieces = math.ceil(math.sqrt(bend / (8.0 * FLATNESS_EM)))
        for t in _steps(pieces):
            u = 1 - t
            self._contours[-1].append(u**3 * a + 3 * u**2 * t * b + 3 * u * t**2 * c + t**3 * d)

    def closePath(self) -> None:
        """Do nothing: every contour is closed."""

    def endPath(self) -> None:
        """Do nothing: every contour is closed."""

    def closed(self) -> Iterator[FloatArray]:
        """Yield the contours that enclose something, (N, 2), repeated points left out."""
        for contour in self._contours:
            points = np.array(contour, dtype=np.complex128)
            points = points[points != np.roll(points, -1)]
            if points.size >= 3:
                yield np.column_stack([points.real, points.imag])


def _steps(pieces: int) -> list[float]:
    count = max(1, pieces)
    return [i / count for i in range(1, count + 1)]


def _lay_out(lines: list[_Line], outlines: _Outlines, align: Align, leading_em: float, face_name: str) -> Lettering:
    share = {"left": 0.0, "centre": 0.5, "right": 1.0}[align]
    contours: list[FloatArray] = []
    starts: list[int] = []
    for row, line in enumerate(lines):
        for glyph, x, y in line.glyphs:
            shift = np.array([x - share * line.width, y]) / outlines.upem - np.array([0.0, row * leading_em])
            shapes = outlines.glyph(glyph)
            if shapes:
                starts.append(len(contours))
                contours += [shape + shift for shape in shapes]
    if not contours:
        raise InvalidInput({"text": f"nothing to engrave: {face_name} draws no ink for these characters"})
    for contour in contours:
        contour.setflags(write=False)
    low = np.min([contour.min(axis=0) for contour in contours], axis=0)
    high = np.max([contour.max(axis=0) for contour in contours], axis=0)
    if not np.all(high > low):
        raise UnreadableFile(face_name, "its outlines enclose no area")
    return Lettering(
        contours=tuple(contours),
        glyph_starts=tuple(starts),
        bounds_em=(float(low[0]), float(low[1]), float(high[0]), float(high[1])),
    )
