"""A finished piece as it was compared: the mat square on, the art's outline where it was found, and the tones that count."""

from __future__ import annotations

import os
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from evenburn.adapters.pictures.sheet_type import Type
from evenburn.core.card.mat_geometry import frame_box_mm
from evenburn.core.card.page_view import flattened
from evenburn.core.card.piece_placing import InkImage, ink_sheet
from evenburn.core.card.piece_reading import PiecePhotographed
from evenburn.core.errors import StorageError
from evenburn.core.nouns.card import Mat

DEED, WHITE, INK = "#0E5266", "#FFFFFF", "#17221E"
WIDEST_px = 1500
FOOT_px, MARGIN_px = 96, 24


def write_piece_compared(
    picture: NDArray[np.uint8],
    read: PiecePhotographed,
    target: Path,
    *,
    mat: Mat,
    marks: Sequence[InkImage],
    which: int,
    captions: Sequence[str],
) -> None:
    """Write the photograph as PNG, made square on and cut to the mat, with what was found and two lines below.

    Raises
    ------
    StorageError
        If the file cannot be written.
    """
    data = BytesIO()
    _drawn(picture, read, mat=mat, marks=marks, which=which, captions=captions).save(data, format="PNG")
    part = target.with_name(f"{target.name}.part")
    try:
        with part.open("wb") as file:
            file.write(data.getvalue())
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as problem:
        part.unlink(missing_ok=True)
        raise StorageError(f"{target.name} could not be written: {problem.strerror or problem}") from problem


def _drawn(
    picture: NDArray[np.uint8],
    read: PiecePhotographed,
    *,
    mat: Mat,
    marks: Sequence[InkImage],
    which: int,
    captions: Sequence[str],
) -> Image.Image:
    frame = frame_box_mm(mat)
    u = max(4, int(WIDEST_px / (frame[2] - frame[0])))
    flat = flattened(picture, read.view, box_mm=frame, px_per_mm=u).pixels
    rows, columns = flat.shape[:2]
    image = Image.new("RGB", (columns, rows + FOOT_px), WHITE)
    image.paste(Image.fromarray(flat), (0, 0))
    canvas = ImageDraw.Draw(image)

    def place(points_mm: NDArray[np.float64]) -> list[tuple[float, float]]:
        return [((x - frame[0]) * u, (frame[3] - y) * u) for x, y in points_mm.tolist()]

    for outline in _outlines_mm(marks[which]):
        seen = place(read.placed.page_mm(outline))
        seen = [p for p in seen if _inside(p, read, frame, u)]
        for colour, width in ((WHITE, 4), (DEED, 2)):
            _dots(canvas, seen, colour=colour, radius=0.5 * width)
    size = int(np.clip(1.7 * u, 11, 20))
    for cell, tone in read.cells_mm:
        middle = place(np.array([cell]))[0]
        face = Type(face="sheet-sans", size_px=size, colour=WHITE if tone < 58.0 else INK)
        face.draw(canvas, middle, f"{tone:.0f}", anchor="mm")
    for line, (caption, bold) in enumerate(zip(captions, (True, False), strict=False)):
        face = Type(face="sheet-sans-bold" if bold else "sheet-sans", size_px=26 if bold else 22, colour=INK)
        text = face.shortened(caption, width_px=columns - 2 * MARGIN_px)
        face.draw(canvas, (MARGIN_px, rows + 38 + 38 * line), text)
    return image


def _outlines_mm(mark: InkImage) -> list[NDArray[np.float64]]:
    """Return points along the edges of the ink, on the bed, close together."""
    sheet = ink_sheet([mark], px_per_mm=8, pad_mm=1.0)
    found, _ = cv2.findContours(np.asarray(sheet.ink > 0.5, np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    into = sheet.to_mm()
    return [c.reshape(-1, 2).astype(np.float64) @ into[:2, :2].T + into[:2, 2] for c in found]


def _inside(point: tuple[float, float], read: PiecePhotographed, frame: tuple[float, ...], u: int) -> bool:
    x0, y0, x1, y1 = read.window_mm
    x, y = point[0] / u + frame[0], frame[3] - point[1] / u
    return x0 <= x <= x1 and y0 <= y <= y1


def _dots(canvas: ImageDraw.ImageDraw, points: Sequence[tuple[float, float]], *, colour: str, radius: float) -> None:
    for x, y in points:
        canvas.ellipse((x - radius, y - radius, x + radius, y + radius), fill=colour)
