"""Names in the book: ids made from what a person wrote, and the plain names files go by.

What a person wrote never becomes a path: a file of the book goes by a name made here, of plain letters and a known ending.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container, Iterator, Mapping
from copy import deepcopy
from pathlib import PurePosixPath
from typing import Any

from evenburn.adapters.artwork.endings import PICTURE_ENDINGS
from evenburn.core.errors import InvalidInput

ID_LONGEST = 64
STEM_LONGEST = 80
DRAWINGS = (".svg", ".dxf", ".pdf")
FACES = (".ttf", ".otf")
LISTS = (".csv",)
ARTWORKS = DRAWINGS + PICTURE_ENDINGS
FILE_NAME = re.compile(
    rf"[a-z0-9][a-z0-9_-]{{0,{STEM_LONGEST + 8}}}({'|'.join(map(re.escape, ARTWORKS + FACES + LISTS))})"
)
MEDIA_TYPES = {
    ".svg": "image/svg+xml",
    ".dxf": "image/vnd.dxf",
    ".pdf": "application/pdf",
    ".png": "image/png",
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".tif": "image/tiff",
    ".tiff": "image/tiff",
    ".webp": "image/webp",
    ".gif": "image/gif",
    ".bmp": "image/bmp",
    ".ttf": "font/ttf",
    ".otf": "font/otf",
    ".csv": "text/csv",
    ".heic": "image/heic",
}


def plain(text: str) -> str:
    """Return text as a–z, 0–9 and single hyphens, none at an end; empty where nothing of it is left."""
    flat = unicodedata.normalize("NFKD", text.casefold()).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", flat).strip("-")


def same_words(text: str) -> str:
    """Return what people say so that two names that are said alike are the same: capitals and blanks do not count."""
    return " ".join(text.split()).casefold()


def new_id(text: str, taken: Container[str], *, otherwise: str) -> str:
    """Return an id made from a text that is not taken yet, numbered from 2 where it is.

    Parameters
    ----------
    otherwise : taken where the text has no letter or digit that an id may hold.
    """
    stem = plain(text)[:ID_LONGEST].strip("-") or otherwise
    return next(name for name in _numbered(stem, longest=ID_LONGEST) if name not in taken)


def file_name(written: str, taken: Container[str], *, endings: tuple[str, ...]) -> str:
    """Return a plain name for a file that a person named, not taken yet; its ending is one of `endings`, else the first."""
    last = PurePosixPath(written.replace("\\", "/")).name
    path = PurePosixPath(last)
    ending = path.suffix.lower()
    stem = plain(path.stem if ending in endings else last)[:STEM_LONGEST].strip("-") or "artwork"
    ending = ending if ending in endings else endings[0]
    return next(
        f"{name}{ending}" for name in _numbered(stem, longest=STEM_LONGEST + 8) if f"{name}{ending}" not in taken
    )


def artwork_ending(written: str) -> str:
    """Return the ending of a file that may be artwork.

    Raises
    ------
    InvalidInput
        If it is of no kind that can be burnt.
    """
    ending = PurePosixPath(written.replace("\\", "/")).suffix.lower()
    if ending not in ARTWORKS:
        raise InvalidInput(
            {"artwork": f"ends in {ending or 'nothing'!r}; allowed are {', '.join(ARTWORKS)}"},
            hint="Save the drawing as SVG, or the picture as PNG or JPEG.",
        )
    return ending


def _numbered(stem: str, *, longest: int) -> Iterator[str]:
    yield stem
    number = 2
    while True:
        tail = f"-{number}"
        yield stem[: longest - len(tail)].rstrip("-") + tail
        number += 1


def files_named(document: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    """Return the files that a piece's document names, each with the endings that its place allows."""
    found: dict[str, tuple[str, ...]] = {}
    for holder, key, endings in _places(document):
        found.setdefault(holder[key], endings)
    return found


def with_files_renamed(document: Mapping[str, Any], names: Mapping[str, str]) -> dict[str, Any]:
    """Return a piece's document with its files called otherwise."""
    copy: dict[str, Any] = deepcopy(dict(document))
    for holder, key, _ in list(_places(copy)):
        holder[key] = names.get(holder[key], holder[key])
    return copy


def _places(document: Mapping[str, Any]) -> Iterator[tuple[dict[str, Any], str, tuple[str, ...]]]:
    """Yield each table of a piece that names a file, by which key, and the endings allowed there."""
    looked: list[tuple[Any, str, tuple[str, ...]]] = [
        (document.get("blank"), "outline", (".svg",)),
        (document.get("names"), "file", LISTS),
    ]
    for mark in document.get("mark") or []:
        looked += [
            (mark, "art", ARTWORKS),
            (mark, "face", FACES),
            (mark.get("photo"), "mask", ARTWORKS),
            (mark.get("along"), "drawing", (".svg",)),
        ]
    for holder, key, endings in looked:
        value = holder.get(key) if isinstance(holder, dict) else None
        if not isinstance(value, str) or (key == "face" and not value.lower().endswith(FACES)):
            continue
        yield holder, key, endings
