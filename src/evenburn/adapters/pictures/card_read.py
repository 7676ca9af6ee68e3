"""A card as it was read: the photograph, and on it what was found and the tones that were told."""

from __future__ import annotations

import os
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from evenburn.adapters.pictures.sheet_type import Type
from evenburn.core.card.flagging import in_runs
from evenburn.core.card.reading import PhotographRead
from evenburn.core.errors import StorageError
from evenburn.core.nouns.card import SET_ASIDE

DEED, WHITE, INK = "#0E5266", "#FFFFFF", "#17221E"
WIDEST_px = 2000
DASH_px, GAP_px = 7, 5
PAD_SHARE = 0.03  # of the mat's width is left round it
LIGHT_L = 58.0  # on lighter patches figures are dark
CAPTION_px, CAPTION_PAD_px = 26, 22


def write_card_read(picture: NDArray[np.uint8], read: PhotographRead, target: Path) -> None:
    """Write the photograph as PNG, cut to the mat, with its markers, the card's frame, and each patch's tone.

    Patches that are set aside are dashed.

    Raises
    ------
    StorageError
        If the file cannot be written.
    """
    data = BytesIO()
    card_read_picture(picture, read).save(data, format="PNG")
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


def card_read_picture(picture: NDArray[np.uint8], read: PhotographRead) -> Image.Image:
    """Return the photograph with what was read drawn on it, the mat's own way up."""
    turns = _quarter_turns(read)
    corners = np.array([c for m in read.card.mat.markers for c in m.corners_mm])
    seen = read.view.places_px(corners)
    pad = PAD_SHARE * float(np.ptp(seen, axis=0).max())
    low = np.maximum(np.floor(seen.min(axis=0) - pad), 0).astype(int)
    high = np.minimum(np.ceil(seen.max(axis=0) + pad), [picture.shape[1], picture.shape[0]]).astype(int)
    cut = np.rot90(picture[low[1] : high[1], low[0] : high[0]], turns)
    scale = min(1.0, WIDEST_px / max(cut.shape[:2]))
    size = (max(1, round(cut.shape[1] * scale)), max(1, round(cut.shape[0] * scale)))
    image = Image.fromarray(cv2.resize(np.ascontiguousarray(cut), size, interpolation=cv2.INTER_AREA))
    place = _Placing(low, turns, columns=int(high[0] - low[0]), rows=int(high[1] - low[1]), scale=scale).places
    canvas = ImageDraw.Draw(image)
    for marker in read.card.mat.markers:
        _outline(canvas, place(read.view.places_px(np.array(marker.corners_mm))), dashed=False, wide=2)
    wide, high_mm = read.card.size_mm
    frame = np.array([(0.0, high_mm), (wide, high_mm), (wide, 0.0), (0.0, 0.0)])
    _outline(canvas, place(read.places_px(frame)), dashed=False, wide=1)
    for mark in read.card.corner_marks:
        x0, y0, x1, y1 = mark.box_mm
        middle = place(read.places_px(np.array([(0.5 * (x0 + x1), 0.5 * (y0 + y1)), (x1, 0.5 * (y0 + y1))])))
        radius = 1.6 * float(np.hypot(middle[1][0] - middle[0][0], middle[1][1] - middle[0][1]))
        _ring(canvas, middle[0], radius)
    for patch, box in zip(read.patches, read.read_boxes_mm(), strict=True):
        x0, y0, x1, y1 = box
        quad = place(read.places_px(np.array([(x0, y1), (x1, y1), (x1, y0), (x0, y0)])))
        aside = bool(SET_ASIDE & set(patch.flags))
        _outline(canvas, quad, dashed=aside, wide=2)
        across = float(np.hypot(quad[1][0] - quad[0][0], quad[1][1] - quad[0][1]))
        size_px = int(np.clip(0.42 * across, 11, 30))
        middle_x, middle_y = (sum(p[k] for p in quad) / 4.0 for k in (0, 1))
        colour = WHITE if patch.tone_L < LIGHT_L else INK
        Type(face="sheet-sans-bold", size_px=size_px, colour=colour).draw(
            canvas, (middle_x, middle_y), f"({patch.tone_L:.0f})" if aside else f"{patch.tone_L:.0f}", anchor="mm"
        )
    _name_rows(canvas, read, place)
    return _with_caption(image, read)


Placer = Callable[[NDArray[np.float64]], list[tuple[float, float]]]


def _name_rows(canvas: ImageDraw.ImageDraw, read: PhotographRead, place: Placer) -> None:
    """Write the letters of rows and the numbers of columns beside the patches, on white discs."""
    boxes = {p.id: p.box_mm for p in read.card.patches}
    least_x = min(b[0] for b in boxes.values())
    most_y = max(b[3] for b in boxes.values())
    named: dict[str, tuple[float, float]] = {}
    for name, (x0, y0, x1, y1) in boxes.items():
        if x0 == least_x:
            named[name[:1]] = (x0 - 2.4, 0.5 * (y0 + y1))
        if y1 == most_y:
            named[name[1:]] = (0.5 * (x0 + x1), y1 + 2.4)
    word = Type(face="sheet-sans-bold", size_px=20, colour=INK)
    for name, (x, y) in zip(named, place(read.places_px(np.array(list(named.values())))), strict=True):
        canvas.ellipse((x - 16, y - 16, x + 16, y + 16), fill=WHITE)
        word.draw(canvas, (x, y), name, anchor="mm")


def _with_caption(image: Image.Image, read: PhotographRead) -> Image.Image:
    """Return a picture with what it says told below it."""
    light = f"Bare wood L* {read.bare_wood_L:.1f}, paper L* {read.paper_L:.1f}"
    print_ = f"mat printed at {100.0 * (1.0 + read.found.print_scale_error):.1f} %"
    said = [f"L* of each patch, mean inside its box. {light}, {print_}, edges blurred by {read.blur_mm:.2f} mm."]
    flags = sorted({f for p in read.patches for f in p.flags})
    for flag in flags:
        names = [p.patch.id for p in read.patches if flag in p.flags]
        every = "all patches" if len(names) == len(read.patches) else in_runs(names)
        said.append(f"{flag}{', dashed, in brackets' if flag in SET_ASIDE else ''}: {every}")
    if not flags:
        said.append("No patch is doubted.")
    word = Type(face="sheet-sans", size_px=CAPTION_px, colour=INK)
    lines = [line for text in said for line in word.lines(text, width_px=image.width - 2 * CAPTION_PAD_px)]
    pitch = round(1.35 * CAPTION_px)
    sheet = Image.new("RGB", (image.width, image.height + len(lines) * pitch + 2 * CAPTION_PAD_px), WHITE)
    sheet.paste(image, (0, 0))
    canvas = ImageDraw.Draw(sheet)
    for n, line in enumerate(lines):
        word.draw(canvas, (CAPTION_PAD_px, image.height + CAPTION_PAD_px + n * pitch + CAPTION_px), line)
    return sheet


def _quarter_turns(read: PhotographRead) -> int:
    """Return by how many quarter turns, counter-clockwise, the picture has to be turned to lie as the mat was printed."""
    box = read.card.mat.window_mm
    ends = read.view.places_px(np.array([(box[0], box[3]), (box[2], box[3])]))
    dx, dy = ends[1] - ends[0]
    return round(float(np.degrees(np.arctan2(dy, dx))) / 90.0) % 4


class _Placing:
    """Where places of the photograph are in a picture that was cut, turned by quarters and scaled."""

    def __init__(self, low: NDArray[np.int_], turns: int, *, columns: int, rows: int, scale: float) -> None:
        self._low, self._turns, self._size, self._scale = low, turns, (columns, rows), scale

    def places(self, points_px: NDArray[np.float64]) -> list[tuple[float, float]]:
        x, y = (points_px - self._low).T
        columns, rows = self._size
        for _ in range(self._turns):  # each a quarter turn counter-clockwise
            x, y = y, columns - 1 - x
            columns, rows = rows, columns
        return [(float(a) * self._scale, float(b) * self._scale) for a, b in zip(x, y, strict=True)]


def _outline(canvas: ImageDraw.ImageDraw, quad: list[tuple[float, float]], *, dashed: bool, wide: int) -> None:
    """Draw a closed outline in deed with a white casing."""
    for colour, width in ((WHITE, wide + 2), (DEED, wide)):
        for start, end in zip(quad, quad[1:] + quad[:1], strict=True):
            for a, b in _dashes(start, end) if dashed else [(start, end)]:
                canvas.line((*a, *b), fill=colour, width=width)


def _dashes(
    start: tuple[float, float], end: tuple[float, float]
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    long = float(np.hypot(end[0] - start[0], end[1] - start[1]))
    count = max(1, round(long / (DASH_px + GAP_px)))
    share = DASH_px / (DASH_px + GAP_px)

    def at(s: float) -> tuple[float, float]:
        return start[0] + (end[0] - start[0]) * s, start[1] + (end[1] - start[1]) * s

    return [(at(n / count), at((n + share) / count)) for n in range(count)]


def _ring(canvas: ImageDraw.ImageDraw, middle: tuple[float, float], radius: float) -> None:
    x, y = middle
    for colour, width, r in ((WHITE, 4, radius + 1.0), (DEED, 2, radius)):
        canvas.ellipse((x - r, y - r, x + r, y + r), outline=colour, width=width)
