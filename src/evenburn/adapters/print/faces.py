"""The four faces of a printed sheet, and how wide, and how broken into lines, a text stands in them."""

from __future__ import annotations

import tomllib
import unicodedata
from functools import cache, lru_cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Literal

from reportlab.lib.abag import ABag
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import ShapedStr, TTFont, shapeFragWord

Face = Literal["sheet-serif", "sheet-serif-bold", "sheet-sans", "sheet-sans-bold"]
SERIF: Face = "sheet-serif"
SERIF_BOLD: Face = "sheet-serif-bold"
SANS: Face = "sheet-sans"
SANS_BOLD: Face = "sheet-sans-bold"

PT_PER_MM = 72.0 / 25.4  # definition of the PostScript point
DIAMETER = "\u2300"  # neither face has it, so it is drawn
DIAMETER_WIDTH_EM = 0.66
ELLIPSIS = "…"

# Pairs are kerned; ligatures stay off, so that one character is one glyph and the text can be searched.
_FEATURES = {"kern": True, "liga": False, "clig": False, "dlig": False, "calt": False, "ccmp": False}
_IN_WORDS = {
    "\u202f": "\u00a0",
    "\u2009": "\u00a0",
    "≤\u00a0": "at most ",
    "≥\u00a0": "at least ",
    "≈\u00a0": "about ",
    "≤ ": "at most ",
    "≥ ": "at least ",
    "≈ ": "about ",
    "≤": "at most ",
    "≥": "at least ",
    "≈": "about ",
    "→": "to",
    "∅": DIAMETER,
}


def _font_path(face: Face) -> Path:
    """Return the file of a face as faces.toml beside the faces names it."""
    folder = files("evenburn") / "assets" / "faces"
    listed = tomllib.loads((folder / "faces.toml").read_text(encoding="utf-8"))
    name = next(entry["file"] for entry in listed["sheet"] if entry["id"] == face)
    with as_file(folder / name) as path:
        return path


@cache
def font(face: Face) -> Any:
    """Load and register a face once and return it."""
    loaded = TTFont(face, str(_font_path(face)))
    pdfmetrics.registerFont(loaded)
    return loaded


def printable(text: str, face: Face) -> str:
    """Return the text with what the face does not have said in words, or without its accent, or as a question mark."""
    text = unicodedata.normalize("NFC", text)
    for sign, words in _IN_WORDS.items():
        text = text.replace(sign, words)
    known = font(face).face.charToGlyph
    return "".join(_known_sign(sign, known) for sign in text if sign == "\n" or ord(sign) >= 32)


def _known_sign(sign: str, known: dict[int, int]) -> str:
    if sign == DIAMETER or ord(sign) in known:
        return sign
    if sign.isspace():
        return " "
    bare = "".join(c for c in unicodedata.normalize("NFKD", sign) if ord(c) in known and not unicodedata.combining(c))
    return bare or "?"


def shaped(text: str, face: Face, *, size_pt: float) -> Any:
    """Return the text with kerning, as the canvas draws it; plain where kerning changes nothing."""
    font(face)
    bag = ABag(fontName=face, fontSize=size_pt)
    return shapeFragWord([0.0, (bag, text)], features=_FEATURES)[1][1]


@lru_cache(maxsize=20_000)
def _width_em(text: str, face: Face) -> float:
    if not text:
        return 0.0
    drawn = shaped(text, face, size_pt=1000.0)
    if isinstance(drawn, ShapedStr):
        return float(sum(glyph.x_advance for glyph in drawn.__shapeData__)) / 1000.0
    return float(pdfmetrics.stringWidth(text, face, 1000.0)) / 1000.0


def width_mm(text: str, face: Face, *, size_pt: float) -> float:
    """Return how wide a text stands. [mm]"""
    parts = printable(text, face).split(DIAMETER)
    em = sum(_width_em(part, face) for part in parts) + DIAMETER_WIDTH_EM * (len(parts) - 1)
    return em * size_pt / PT_PER_MM


def wrap(text: str, face: Face, *, size_pt: float, width: float) -> tuple[str, ...]:
    """Break a text into lines no wider than `width` mm; only a word wider than that is cut.

    No-break spaces hold a figure and its unit together.
    """
    space = width_mm(" ", face, size_pt=size_pt)
    lines: list[str] = []
    line, taken = "", 0.0
    for word in text.split(" "):
        wide = width_mm(word, face, size_pt=size_pt)
        if line and taken + space + wide <= width:
            line, taken = f"{line} {word}", taken + space + wide
            continue
        if line:
            lines.append(line)
        line, taken = word, wide
        while len(line) > 1 and taken > width:
            cut = _longest(line, face, size_pt=size_pt, width=width)
            lines.append(line[:cut])
            line = line[cut:]
            taken = width_mm(line, face, size_pt=size_pt)
    lines.append(line)
    return tuple(lines)


def _longest(text: str, face: Face, *, size_pt: float, width: float) -> int:
    """Return how many characters fit, at least one; after a hyphen or stroke where one is near the end."""
    count = 1
    while count < len(text) and width_mm(text[: count + 1], face, size_pt=size_pt) <= width:
        count += 1
    seam = max(text.rfind(sign, 0, count) for sign in "-/_") + 1
    return seam if seam > count // 2 else count


def shorten_middle(text: str, face: Face, *, size_pt: float, width: float) -> str:
    """Return the text, or of its first and last words as many as fit with an ellipsis between.

    What tells names of one beginning apart stands at their end, as "lot HM-2" does.
    """
    if width_mm(text, face, size_pt=size_pt) <= width:
        return text
    words = text.split()
    for kept in range(len(words) - 1, 0, -1):
        head, tail = words[: kept // 2], words[-(kept - kept // 2) :]
        short = " ".join([" ".join(head).rstrip(",.-"), ELLIPSIS, *tail]).strip()
        if width_mm(short, face, size_pt=size_pt) <= width:
            return short
    return shorten(text, face, size_pt=size_pt, width=width)


def shorten(text: str, face: Face, *, size_pt: float, width: float) -> str:
    """Return the text, or as much of it as fits with an ellipsis; for tables only."""
    if width_mm(text, face, size_pt=size_pt) <= width:
        return text
    kept = text
    while kept and width_mm(kept.rstrip() + ELLIPSIS, face, size_pt=size_pt) > width:
        kept = kept[:-1]
    return kept.rstrip(" ,.-\u00a0") + ELLIPSIS
