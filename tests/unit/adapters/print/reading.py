"""Reads a run sheet back: its words, and the rectangles and lines in its content, by a reader that did not write it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream

MM_PER_PT = 25.4 / 72.0  # PDF 32000-1, 8.3.2.3: a unit of default user space is 1/72 inch; an inch is 25.4 mm


def pages(file: Path) -> list[PageObject]:
    """Return the pages of a file."""
    return list(PdfReader(file).pages)


def words(page: PageObject) -> str:
    """Return a page's text on one line, with plain spaces and one micro sign."""
    return " ".join(page.extract_text().replace("\u00a0", " ").replace("\u03bc", "µ").split())


def all_words(file: Path) -> str:
    """Return the text of all pages."""
    return " ".join(words(page) for page in pages(file))


def rectangles_mm(page: PageObject) -> Iterator[tuple[float, float, float, float]]:
    """Yield x, y, width, height of each rectangle of a page, in mm from its lower left."""
    for operands, operator in _operations(page):
        if operator == b"re":
            x, y, width, height = (float(value) * MM_PER_PT for value in operands)
            yield x, y, width, height


def path_points_mm(page: PageObject) -> Iterator[tuple[float, float]]:
    """Yield every point at which a path of a page begins or to which a line is drawn, in mm from its lower left."""
    for operands, operator in _operations(page):
        if operator in (b"m", b"l"):
            x, y = (float(value) * MM_PER_PT for value in operands)
            yield x, y


def _operations(page: PageObject) -> Iterator[tuple[list[float], bytes]]:
    contents = page.get_contents()
    assert contents is not None
    yield from ContentStream(contents, page.pdf).operations


@dataclass(frozen=True, slots=True)
class Written:
    """A piece of text as it was put on a page: its words, where it begins in mm from the lower left, and its face."""

    words: str
    x: float
    y: float
    face: str


def written(page: PageObject) -> list[Written]:
    """Return every piece of text of a page that is not blank, in the order it was written."""
    found: list[Written] = []

    def visit(text: str, user: list[float], matrix: list[float], font: dict[str, str] | None, _size: float) -> None:
        if text.strip() and font is not None:
            plain = " ".join(text.replace("\u00a0", " ").split())
            at = (matrix[4] + user[4], matrix[5] + user[5])
            found.append(Written(plain, at[0] * MM_PER_PT, at[1] * MM_PER_PT, font["/BaseFont"]))

    page.extract_text(visitor_text=visit)
    return found


def picture_sizes_mm(page: PageObject) -> Iterator[tuple[float, float]]:
    """Yield width and height of each picture of a page as printed. [mm]"""
    last: list[float] = []
    for operands, operator in _operations(page):
        if operator == b"cm":
            last = [float(value) for value in operands]
        elif operator == b"Do":
            yield last[0] * MM_PER_PT, last[3] * MM_PER_PT
