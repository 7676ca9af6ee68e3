"""A focus ladder as it was read: the card rectified, and on it both edges of every line that was measured."""

from __future__ import annotations

import os
from io import BytesIO
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from evenburn.adapters.pictures.sheet_type import Type
from evenburn.core.card.beam_card import axis_of
from evenburn.core.card.ladder_reading import LadderRead
from evenburn.core.card.page_view import flattened
from evenburn.core.errors import StorageError

DEED, INK = "#0E5266", "#17221E"
PX_PER_MM = 24
AROUND_mm = 4.0


def write_ladder_read(picture: NDArray[np.uint8], read: LadderRead, target: Path) -> None:
    """Write the card as PNG, rectified, with the edges that were found and the focus offsets over their blocks.

    Raises
    ------
    StorageError
        If the file cannot be written.
    """
    data = BytesIO()
    ladder_picture(picture, read).save(data, format="PNG")
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


def ladder_picture(picture: NDArray[np.uint8], read: LadderRead) -> Image.Image:
    """Return the rectified card with what was read drawn on it."""
    wide, high = read.card.size_mm
    box = (-AROUND_mm, -AROUND_mm, wide + AROUND_mm, high + AROUND_mm)
    flat = flattened(picture, read.view, box_mm=box, px_per_mm=PX_PER_MM, to_page=read.found.to_page)
    image = Image.fromarray(np.ascontiguousarray(flat.pixels))
    canvas = ImageDraw.Draw(image)

    def place(x_mm: float, y_mm: float) -> tuple[float, float]:
        return (x_mm - box[0]) * PX_PER_MM, (box[3] - y_mm) * PX_PER_MM

    for reading in read.explained.lines:
        line = reading.line
        if reading.width_mm <= 0.0:
            continue
        half = 0.5 * reading.width_mm
        for s in (-1.0, 1.0):
            dx, dy = (0.0, s * half) if axis_of(line) == "x" else (s * half, 0.0)
            ends = [
                *place(line.from_mm[0] + dx, line.from_mm[1] + dy),
                *place(line.to_mm[0] + dx, line.to_mm[1] + dy),
            ]
            canvas.line(ends, fill=DEED, width=1)
    label = Type(face="sheet-sans-bold", size_px=26, colour=INK)
    upright = [k for k in read.card.lines if axis_of(k) == "y"]
    for top in sorted({max(k.from_mm[1], k.to_mm[1]) for k in upright}):
        row = [k for k in upright if max(k.from_mm[1], k.to_mm[1]) == top]
        for offset in sorted({k.focus_offset_mm for k in row}):
            x = float(np.mean([k.from_mm[0] for k in row if k.focus_offset_mm == offset]))
            text = f"{offset:+.1f}".replace("-", "−") if offset else "0"
            label.draw(canvas, (place(x, top)[0], place(x, top)[1] - 4), text, anchor="ms")
    return image
