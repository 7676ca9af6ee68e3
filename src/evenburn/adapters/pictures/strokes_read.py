"""A motion card as it was read: the card rectified, and on it the edges of every stroke that were found."""

from __future__ import annotations

import os
from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from evenburn.adapters.pictures.sheet_type import Type
from evenburn.core.card.page_view import flattened
from evenburn.core.card.reversal import ReversalRead
from evenburn.core.errors import StorageError

DEED, WHITE, INK = "#0E5266", "#FFFFFF", "#17221E"
PX_PER_MM = 22
AROUND_mm = 4.0
NUMBERED = (-10, -5, 0, 5, 10)


def write_strokes_read(picture: NDArray[np.uint8], read: ReversalRead, target: Path) -> None:
    """Write the card as PNG, rectified, with the edges that were found, the verniers' names and some numbers.

    Raises
    ------
    StorageError
        If the file cannot be written.
    """
    data = BytesIO()
    strokes_picture(picture, read).save(data, format="PNG")
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


def strokes_picture(picture: NDArray[np.uint8], read: ReversalRead) -> Image.Image:
    """Return the rectified card with what was read drawn on it."""
    wide, high = read.card.size_mm
    box = (-AROUND_mm, -AROUND_mm, wide + AROUND_mm, high + AROUND_mm)
    flat = flattened(picture, read.view, box_mm=box, px_per_mm=PX_PER_MM, to_page=read.found.to_page)
    image = Image.fromarray(np.ascontiguousarray(flat.pixels))
    canvas = ImageDraw.Draw(image)

    def place(x_mm: float, y_mm: float) -> tuple[float, float]:
        return (x_mm - box[0]) * PX_PER_MM, (box[3] - y_mm) * PX_PER_MM

    rows = {v.id: v.row_mm for v in read.card.verniers}
    for line in read.lines:
        if line.shift_mm is None:
            continue
        vernier, number = _named(line.line.id)
        half = 0.36 * rows[vernier]
        middle = 0.5 * (line.line.from_mm[0] + line.line.to_mm[0]) + line.shift_mm
        for edge in (middle - 0.5 * line.width_mm, middle + 0.5 * line.width_mm):
            ends = [*place(edge, line.line.from_mm[1] - half), *place(edge, line.line.from_mm[1] + half)]
            canvas.line(ends, fill=WHITE, width=4)
            canvas.line(ends, fill=DEED, width=2)
        if ">" in line.line.id and number in NUMBERED:
            text = f"{number:+d}".replace("-", "−") if number else "0"
            at = place(middle, line.line.from_mm[1] + 0.5 * rows[vernier] + 1.55)
            Type(face="sheet-sans", size_px=24, colour=INK).draw(canvas, at, text, anchor="mm")
    for scale in read.card.verniers:
        y = max(k.from_mm[1] for k in read.card.lines if k.id.startswith(f"{scale.id}>")) - 0.5 * scale.row_mm
        Type(face="sheet-sans-bold", size_px=24, colour=INK).draw(canvas, place(-0.9, y), scale.id, anchor="mm")
    return image


def _named(line_id: str) -> tuple[str, int]:
    """Return the vernier and the number of a stroke."""
    vernier, number = line_id.replace("<", ">").split(">", 1)
    return vernier, int(number)
