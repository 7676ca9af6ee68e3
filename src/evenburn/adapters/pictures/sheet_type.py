"""Lettering on pictures: the sheet faces that ship with the package, drawn by Pillow."""

from __future__ import annotations

import tomllib
import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import Literal

from fontTools.ttLib import TTFont
from PIL import ImageDraw, ImageFont

FaceId = Literal["sheet-serif", "sheet-serif-bold", "sheet-sans", "sheet-sans-bold"]
Colour = str

ELLIPSIS = "…"
# What neither face has, said so that nothing is lost; the narrow no-break space becomes the plain one.
IN_WORDS = {"\u202f": "\u00a0", "\u2009": "\u00a0", "⌀": "diameter ", "≤": "at most ", "≥": "at least ", "≈": "about "}


@dataclass(frozen=True, slots=True, kw_only=True)
class Type:
    """A face at a size, with the colour it is drawn in."""

    face: FaceId
    size_px: int
    colour: Colour

    def width_px(self, text: str) -> int:
        """Return how wide a text stands."""
        return round(_font(self.face, self.size_px).getlength(printable(text, self.face)))

    def draw(self, canvas: ImageDraw.ImageDraw, place: tuple[float, float], text: str, *, anchor: str = "ls") -> None:
        """Draw one line; `anchor` is Pillow's: l, m, r and s for the baseline, m for the middle."""
        canvas.text(
            (round(place[0]), round(place[1])),
            printable(text, self.face),
            font=_font(self.face, self.size_px),
            fill=self.colour,
            anchor=anchor,
        )

    def lines(self, text: str, *, width_px: int) -> tuple[str, ...]:
        """Break a text at its spaces into lines no wider than a width; a word that is wider is shortened."""
        done: list[str] = []
        line = ""
        for word in text.split(" "):
            longer = f"{line} {word}" if line else word
            if line and self.width_px(longer) > width_px:
                done.append(line)
                longer = word
            line = longer if self.width_px(longer) <= width_px else self.shortened(longer, width_px=width_px)
        return (*done, line)

    def shortened(self, text: str, *, width_px: int) -> str:
        """Return the text, or as much of it as fits with an ellipsis."""
        if self.width_px(text) <= width_px:
            return text
        kept = text
        while kept and self.width_px(kept.rstrip() + ELLIPSIS) > width_px:
            kept = kept[:-1]
        return kept.rstrip(" ,.-\u00a0") + ELLIPSIS


@cache
def _data(face: FaceId) -> bytes:
    folder = files("evenburn") / "assets" / "faces"
    listed = tomllib.loads((folder / "faces.toml").read_text(encoding="utf-8"))
    name: str = next(entry["file"] for entry in listed["sheet"] if entry["id"] == face)
    return bytes((folder / name).read_bytes())


@cache
def _font(face: FaceId, size_px: int) -> ImageFont.FreeTypeFont:
    # the basic layout is the same on every machine; the other needs a library that may be missing
    return ImageFont.truetype(BytesIO(_data(face)), size_px, layout_engine=ImageFont.Layout.BASIC)


@cache
def _known(face: FaceId) -> frozenset[int]:
    return frozenset(TTFont(BytesIO(_data(face)), lazy=True).getBestCmap())


def printable(text: str, face: FaceId) -> str:
    """Return the text with what the face does not have said in words, or without its accent, or as a question mark."""
    text = unicodedata.normalize("NFC", text)
    for sign, words in IN_WORDS.items():
        text = text.replace(sign, words)
    known = _known(face)
    return "".join(_known_sign(sign, known) for sign in text if sign == "\t" or ord(sign) >= 32)


def _known_sign(sign: str, known: frozenset[int]) -> str:
    if ord(sign) in known:
        return sign
    if sign.isspace():
        return " "
    bare = "".join(c for c in unicodedata.normalize("NFKD", sign) if ord(c) in known and not unicodedata.combining(c))
    return bare or "?"
