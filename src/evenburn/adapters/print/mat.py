"""The mat as a PDF: printed at 100 %, its window cut out, laid round a card and photographed with it."""

from __future__ import annotations

import os
from pathlib import Path

import cv2

from evenburn.adapters.print.faces import SANS, SANS_BOLD, SERIF, SERIF_BOLD, wrap
from evenburn.adapters.print.mat_pictures import (
    HIGH_MM,
    SMALL_HIGH_MM,
    SMALL_WIDE_MM,
    WIDE_MM,
    dashed_box,
    draw_covered,
    draw_cutting,
    draw_far,
    draw_laying,
    draw_photographing,
    draw_printing,
    draw_shadowed,
    draw_shining,
)
from evenburn.adapters.print.page import FINE_PT, SECOND, SECTION_PT, Sheet
from evenburn.core.card.mat_geometry import MODULES, frame_box_mm, marker_box_mm, marker_number
from evenburn.core.errors import StorageError
from evenburn.core.nouns.card import Box, Card, Mat, MatMarker
from evenburn.core.tone.colour import luminance, srgb_encode

NB = "\u00a0"
_NAMES = {"wood": "wood card", "strip": "strip", "beam": "focus ladder", "motion": "motion card"}
_STEPS = (
    (
        draw_printing,
        "1  Print",
        f"at 100{NB}%, not “fit to page”, on plain white paper. The bar below has to measure 100{NB}mm.",
    ),
    (draw_cutting, "2  Cut", "the window out along the dashed line, with a knife and a rule. Keep the paper flat."),
    (draw_laying, "3  Lay", "it on the burnt wood, the card in the middle of the window, bare wood showing all round."),
    (
        draw_photographing,
        "4  Photograph",
        "from above, all markers in the picture, by a window, without flash. No shadow, no shine, nothing on the paper.",
    ),
)
_NOT_SO = (
    (draw_shadowed, "a shadow with an edge"),
    (draw_shining, "a lamp’s shine"),
    (draw_covered, "a marker covered"),
    (draw_far, "too far away"),
)


def write_mat(card: Card, target: Path) -> None:
    """Write the mat of a card as PDF; same card, same bytes.

    Raises
    ------
    StorageError
        If the file cannot be written.
    """
    data = mat_pdf(card)
    part = target.with_name(f"{target.name}.part")
    try:
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except OSError as problem:
        part.unlink(missing_ok=True)
        raise StorageError(f"{target.name} could not be written: {problem.strerror or problem}") from problem


def mat_pdf(card: Card) -> bytes:
    """Return the mat of a card as PDF, one page."""
    mat = card.mat
    name = _NAMES[card.kind]
    wide, high = card.size_mm
    sheet = Sheet(mat.page, title=f"Mat for a {name}, {wide:g} × {high:g} mm", subject="evenburn mat, print at 100 %")
    frame = frame_box_mm(mat)
    top = sheet.height - frame[3]
    _head(sheet, card, name=name)
    _instructions(sheet, bottom=top - 4.6)
    _numbers(sheet, mat)
    for marker in mat.markers:
        _marker(sheet, marker)
    for step in mat.grey_steps:
        grey = float(srgb_encode(luminance(step.nominal_L)))
        x, y, w, h = _placed(sheet, step.box_mm)
        sheet.box(x, y, width=w, height=h, fill=grey)
    _window(sheet, card)
    _scale_bar(sheet, mat)
    sheet.turn_page()
    return sheet.finished()


def _placed(sheet: Sheet, box: Box) -> tuple[float, float, float, float]:
    """Return left, top, width and height on the sheet of a box in page coordinates."""
    return box[0], sheet.height - box[3], box[2] - box[0], box[3] - box[1]


def _head(sheet: Sheet, card: Card, *, name: str) -> None:
    line = 13.4
    sheet.text(sheet.left, line, "evenburn, mat", face=SERIF_BOLD, size_pt=11.0)
    wide, high = card.size_mm
    sheet.text(
        (sheet.left + sheet.right) / 2,
        line,
        f"for a {name} of {wide:g} × {high:g}{NB}mm",
        size_pt=9.3,
        align="middle",
    )
    sheet.text(sheet.right, line, f"{card.mat.page}, at 100{NB}%", face=SANS_BOLD, size_pt=9.3, align="right")
    sheet.rule(16.6, x0=sheet.left, x1=sheet.right, weight_pt=SECTION_PT)


def _instructions(sheet: Sheet, *, bottom: float) -> None:
    """Draw the four steps side by side, ending above the frame."""
    column = (sheet.right - sheet.left) / len(_STEPS)
    room = column - 3.5
    leading = 3.5
    texts = [wrap(words, SANS, size_pt=8.3, width=room) for _, _, words in _STEPS]
    tall = HIGH_MM + 4.6 + leading * max(len(t) for t in texts)
    y = 18.4 + max(0.0, 0.35 * (bottom - 18.4 - tall))
    for n, ((draw, head, _), lines) in enumerate(zip(_STEPS, texts, strict=True)):
        x = sheet.left + n * column
        draw(sheet, x - 2.0 + min(0.0, room - WIDE_MM), y)
        sheet.text(x, y + HIGH_MM + 3.2, head, face=SERIF_BOLD, size_pt=10.0)
        sheet.lines(x, y + HIGH_MM + 7.2, lines, leading=leading, size_pt=8.3)


def _numbers(sheet: Sheet, mat: Mat) -> None:
    """Write each marker's number beside it, outside the white that is measured."""
    left, low, right, high = frame_box_mm(mat)
    for marker in mat.markers:
        x0, y0, x1, y1 = marker_box_mm(marker)
        number = str(marker_number(mat, marker.id))
        x, y = 0.5 * (x0 + x1), sheet.height - 0.5 * (y0 + y1)
        if y1 > high - 5.0:
            sheet.text(x, sheet.height - high - 0.8, number, size_pt=7.0, align="middle", grey=SECOND)
        elif y0 < low + 5.0:
            sheet.text(x, sheet.height - low + 2.8, number, size_pt=7.0, align="middle", grey=SECOND)
        elif x0 < left + 5.0:
            sheet.text(left - 1.2, y + 0.9, number, size_pt=7.0, align="right", grey=SECOND)
        else:
            sheet.text(right + 1.2, y + 0.9, number, size_pt=7.0, grey=SECOND)


def _marker(sheet: Sheet, marker: MatMarker) -> None:
    """Draw a marker in squares: black, and on it its white cells, neighbours overlapping so that no seam shows."""
    chosen = cv2.aruco.getPredefinedDictionary(int(getattr(cv2.aruco, marker.dictionary)))
    cells = cv2.aruco.generateImageMarker(chosen, marker.id, MODULES) > 0
    x, y, side, _ = _placed(sheet, marker_box_mm(marker))
    cell = side / MODULES
    sheet.box(x, y, width=side, height=side, fill=0.0)
    for row in range(MODULES):
        for column in range(MODULES):
            if not cells[row, column]:
                continue
            right = column + 1 < MODULES and bool(cells[row, column + 1])
            below = row + 1 < MODULES and bool(cells[row + 1, column])
            at = (x + column * cell, y + row * cell)
            sheet.box(*at, width=cell * (2 if right else 1), height=cell, fill=1.0)
            if below:
                sheet.box(*at, width=cell, height=2 * cell, fill=1.0)


def _window(sheet: Sheet, card: Card) -> None:
    x, y, w, h = _placed(sheet, card.mat.window_mm)
    dashed_box(sheet, x, y, width=w, height=h)
    middle = x + w / 2
    small = h < 40.0
    base = y + h / 2 - (3.0 if small else 5.0)
    sheet.text(
        middle, base, "cut out along the dashed line", face=SERIF, size_pt=11.0 if small else 15.0, align="middle"
    )
    words = [f"{w:g} × {h:g}{NB}mm. The printed side stays up."]
    if not small:
        words.append("Keep hands, tools and shadows off the white paper round the window: the light is measured there.")
    base += 5.5 if small else 7.5
    for line in [piece for text in words for piece in wrap(text, SANS, size_pt=8.6, width=w - 10.0)]:
        sheet.text(middle, base, line, size_pt=8.6, align="middle", grey=SECOND)
        base += 3.7


def _scale_bar(sheet: Sheet, mat: Mat) -> None:
    (x0, y_page), (x1, _) = mat.scale_bar_mm
    y = sheet.height - y_page
    sheet.line((x0, y), (x1, y), weight_pt=1.0)
    for n in range(11):
        x = x0 + (x1 - x0) * n / 10.0
        long = 2.6 if n in (0, 10) else 1.8 if n == 5 else 1.1
        sheet.line((x, y - long), (x, y), weight_pt=0.6 if n not in (0, 10) else 0.8)
    sheet.text(x0, y + 4.0, "0", size_pt=8.3, align="middle")
    sheet.text(x1, y + 4.0, f"100{NB}mm", face=SANS_BOLD, size_pt=8.3, align="middle")
    words = (
        f"Measure this bar once with a steel rule. From 98.5 to 101.5{NB}mm the card can be read; else print again at 100{NB}%. "
        "A copy of a copy will not do, and glossy paper shines. If the paper and its black have been measured, enter their "
        "L* once (--paper-L, --toner-L): the tones are then surer."
    )
    lines = wrap(words, SANS, size_pt=8.6, width=sheet.right - sheet.left)
    top = y + 11.6
    sheet.rule(top - 4.4, x0=sheet.left, x1=sheet.right, weight_pt=FINE_PT, grey=0.5)
    sheet.lines(sheet.left, top, lines, leading=3.8, size_pt=8.6, grey=SECOND)
    _not_so(sheet, top=top + 3.8 * len(lines) + 1.0)


def _not_so(sheet: Sheet, *, top: float) -> None:
    """Draw four pictures that will be refused, under one another's captions, where the page has room."""
    room = sheet.height - 8.0 - top
    if room < SMALL_HIGH_MM + 5.0:
        return
    y = top + min(7.0, 0.4 * (room - SMALL_HIGH_MM - 5.0))
    column = (sheet.right - sheet.left) / len(_STEPS)
    for n, (draw, words) in enumerate(_NOT_SO):
        x = sheet.left + n * column
        draw(sheet, x, y)
        lines = wrap(words, SANS, size_pt=8.3, width=column - SMALL_WIDE_MM - 5.0)
        if n == 0:
            sheet.text(x + SMALL_WIDE_MM + 2.5, y + 3.0, "Not so:", face=SERIF_BOLD, size_pt=9.3)
        sheet.lines(x + SMALL_WIDE_MM + 2.5, y + 7.0, lines, leading=3.5, size_pt=8.3)
