"""The four small pictures on a mat: print it, cut it, lay it round the card, photograph it."""

from __future__ import annotations

import itertools

from evenburn.adapters.print.page import Point, Sheet

WIDE_MM, HIGH_MM = 34.0, 24.0
_INK_PT, _FINE_PT = 0.9, 0.5
_PAPER, _WOOD, _BURNT, _DARK = 1.0, 0.78, 0.35, 0.12


def draw_printing(sheet: Sheet, x: float, y: float) -> None:
    """Draw a page coming out of a printer, with a ruler on its bar."""
    sheet.box(x + 4.0, y + 2.0, width=14.0, height=8.0, weight_pt=_INK_PT, fill=0.9)
    sheet.box(x + 6.0, y + 7.0, width=10.0, height=14.0, weight_pt=_INK_PT, fill=_PAPER)
    sheet.box(x + 8.6, y + 10.6, width=4.8, height=3.6, weight_pt=_FINE_PT)
    sheet.line((x + 7.4, y + 18.0), (x + 14.6, y + 18.0), weight_pt=_INK_PT)
    for end in (7.4, 14.6):
        sheet.line((x + end, y + 17.2), (x + end, y + 18.8), weight_pt=_INK_PT)
    # the ruler, larger, with its marks at the bar's ends
    sheet.box(x + 20.0, y + 12.6, width=13.0, height=5.0, weight_pt=_INK_PT, fill=_PAPER)
    for n in range(11):
        sheet.line(
            (x + 21.0 + 1.1 * n, y + 12.6), (x + 21.0 + 1.1 * n, y + (14.6 if n % 5 == 0 else 13.7)), weight_pt=_FINE_PT
        )
    sheet.line((x + 21.0, y + 11.2), (x + 32.0, y + 11.2), weight_pt=1.2)
    for end in (21.0, 32.0):
        sheet.line((x + end, y + 10.3), (x + end, y + 12.1), weight_pt=_INK_PT)


def draw_cutting(sheet: Sheet, x: float, y: float) -> None:
    """Draw the page with its window being cut along a rule by a knife."""
    sheet.box(x + 5.0, y + 1.0, width=24.0, height=21.0, weight_pt=_INK_PT, fill=_PAPER)
    _corner_markers(sheet, x + 6.2, y + 2.2, width=21.6, height=18.6)
    dashed_box(sheet, x + 11.0, y + 7.0, width=12.0, height=9.0)
    sheet.box(x + 9.0, y + 16.0, width=18.0, height=2.6, weight_pt=_FINE_PT, fill=0.9)
    blade: tuple[Point, ...] = ((x + 16.0, y + 16.0), (x + 17.4, y + 13.2), (x + 18.4, y + 13.9))
    sheet.rings((blade,), weight_pt=_INK_PT)
    sheet.line((x + 17.9, y + 13.5), (x + 24.5, y + 4.6), weight_pt=2.4)


def draw_laying(sheet: Sheet, x: float, y: float) -> None:
    """Draw the burnt card showing in the middle of the window, a rim of bare wood all round."""
    sheet.box(x + 5.0, y + 1.0, width=24.0, height=21.0, weight_pt=_INK_PT, fill=_PAPER)
    _corner_markers(sheet, x + 6.2, y + 2.2, width=21.6, height=18.6)
    sheet.box(x + 10.5, y + 6.5, width=13.0, height=10.0, weight_pt=_FINE_PT, fill=_WOOD)
    for row in range(3):
        for column in range(4):
            grey = _DARK + 0.13 * ((3 * row + 2 * column) % 5)
            sheet.box(x + 12.9 + 2.1 * column, y + 8.6 + 2.0 * row, width=1.7, height=1.6, fill=grey)
    for cx in (11.6, 21.8):
        for cy in (7.6, 14.8):
            sheet.box(x + cx, y + cy, width=0.7, height=0.7, fill=_BURNT)


def draw_photographing(sheet: Sheet, x: float, y: float) -> None:
    """Draw a phone straight above the mat, light from a window on one side, a shade on none."""
    sheet.box(x + 2.0, y + 20.0, width=30.0, height=1.2, weight_pt=_INK_PT, fill=_PAPER)
    sheet.box(x + 12.0, y + 20.0, width=10.0, height=1.2, fill=_WOOD, weight_pt=_FINE_PT)
    sheet.box(x + 11.0, y + 3.0, width=12.0, height=2.0, weight_pt=_INK_PT, fill=0.9)
    sheet.box(x + 16.2, y + 5.0, width=1.6, height=0.9, fill=_DARK)
    for end in (2.6, 31.4):
        sheet.line((x + 17.0, y + 6.2), (x + end, y + 19.6), weight_pt=_FINE_PT, grey=0.45)
    for n in range(3):
        start = (x + 1.0 + 2.4 * n, y + 1.4)
        end_at = (start[0] + 4.0, start[1] + 5.6)
        sheet.line(start, end_at, weight_pt=_INK_PT)
        sheet.line(end_at, (end_at[0] - 0.1, end_at[1] - 1.8), weight_pt=_INK_PT)
        sheet.line(end_at, (end_at[0] - 1.5, end_at[1] - 0.9), weight_pt=_INK_PT)


def dashed_box(sheet: Sheet, x: float, y: float, *, width: float, height: float, dash: float = 1.2) -> None:
    """Draw a rectangle in dashes, corners closed; its outline is exactly where the sizes say."""
    corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y))
    for (x0, y0), (x1, y1) in itertools.pairwise(corners):
        long = abs(x1 - x0) + abs(y1 - y0)
        count = max(1, round(long / (2.0 * dash)))
        step = long / (count - 0.5) if count > 1 else long
        for n in range(count):
            a, b = n * step / long, min(1.0, (n + 0.5) * step / long)
            sheet.line(
                (x0 + (x1 - x0) * a, y0 + (y1 - y0) * a), (x0 + (x1 - x0) * b, y0 + (y1 - y0) * b), weight_pt=_FINE_PT
            )


def _corner_markers(sheet: Sheet, x: float, y: float, *, width: float, height: float) -> None:
    side = 2.4
    for cx in (x, x + width - side):
        for cy in (y, y + height - side):
            sheet.box(cx, cy, width=side, height=side, fill=0.0)
            sheet.box(cx + 0.7, cy + 0.7, width=0.5, height=1.0, fill=1.0)


SMALL_WIDE_MM, SMALL_HIGH_MM = 20.0, 15.0  # proportions of a phone's picture


def draw_shadowed(sheet: Sheet, x: float, y: float) -> None:
    """Draw a picture of the mat with a shadow over one side."""
    _picture_of_mat(sheet, x, y)
    sheet.hatch(x + 0.3, y + 0.3, width=8.0, height=SMALL_HIGH_MM - 0.6, pitch=1.1)
    sheet.line((x + 8.3, y), (x + 8.3, y + SMALL_HIGH_MM), weight_pt=_INK_PT)
    _strike(sheet, x, y)


def draw_shining(sheet: Sheet, x: float, y: float) -> None:
    """Draw a picture of the mat with a lamp mirrored in the card."""
    _picture_of_mat(sheet, x, y)
    middle = (x + 11.5, y + 6.6)
    for radius in (2.5, 1.7, 0.9):
        sheet.circle(middle, radius, weight_pt=1.8, grey=1.0)
    sheet.circle(middle, 2.9, weight_pt=_FINE_PT)
    for dx, dy in (
        (1.0, 0.0),
        (0.7, 0.7),
        (0.0, 1.0),
        (-0.7, 0.7),
        (-1.0, 0.0),
        (-0.7, -0.7),
        (0.0, -1.0),
        (0.7, -0.7),
    ):
        sheet.line(
            (middle[0] + 3.3 * dx, middle[1] + 3.3 * dy),
            (middle[0] + 4.4 * dx, middle[1] + 4.4 * dy),
            weight_pt=_FINE_PT,
        )
    _strike(sheet, x, y)


def draw_covered(sheet: Sheet, x: float, y: float) -> None:
    """Draw a picture of the mat with a thumb on one marker."""
    _picture_of_mat(sheet, x, y)
    tip, half = (x + 16.2, y + 4.6), 1.7
    thumb = (
        (x + 19.8, y + 0.6),
        (tip[0] + 0.9, tip[1] - 2.6),
        (tip[0] - 0.7, tip[1] - half),
        (tip[0] - 1.4, tip[1] - 0.2),
        (tip[0] - 1.0, tip[1] + 0.9),
        (tip[0] + 0.2, tip[1] + 1.2),
        (tip[0] + 1.6, tip[1] + 0.4),
        (x + 19.8, y + 4.4),
    )
    for n in range(9):
        sheet.line(
            (tip[0] - 0.9 + 0.5 * n, tip[1] + 0.8 - 0.25 * n),
            (tip[0] + 0.4 * n, tip[1] - 1.6 - 0.1 * n),
            weight_pt=2.2,
            grey=0.9,
        )
    sheet.rings((thumb,), weight_pt=_INK_PT)
    _strike(sheet, x, y)


def draw_far(sheet: Sheet, x: float, y: float) -> None:
    """Draw a picture in which the mat is small."""
    sheet.box(x, y, width=SMALL_WIDE_MM, height=SMALL_HIGH_MM, weight_pt=_INK_PT, fill=0.9)
    _small_mat(sheet, x + 7.2, y + 5.2, width=5.6, height=4.4)
    _strike(sheet, x, y)


def _picture_of_mat(sheet: Sheet, x: float, y: float) -> None:
    sheet.box(x, y, width=SMALL_WIDE_MM, height=SMALL_HIGH_MM, weight_pt=_INK_PT, fill=0.9)
    _small_mat(sheet, x + 2.2, y + 1.4, width=15.6, height=12.2)


def _small_mat(sheet: Sheet, x: float, y: float, *, width: float, height: float) -> None:
    unit = width / 15.6
    sheet.box(x, y, width=width, height=height, weight_pt=_FINE_PT, fill=_PAPER)
    sheet.box(x + 4.0 * unit, y + 3.4 * unit, width=7.6 * unit, height=5.4 * unit, fill=_WOOD)
    for row in range(2):
        for column in range(3):
            sheet.box(
                x + (5.0 + 2.0 * column) * unit,
                y + (4.4 + 1.8 * row) * unit,
                width=1.6 * unit,
                height=1.4 * unit,
                fill=_DARK + 0.16 * ((2 * row + column) % 4),
            )
    side = 1.7 * unit
    for cx in (x + 0.7 * unit, x + width - side - 0.7 * unit):
        for cy in (y + 0.7 * unit, y + height - side - 0.7 * unit):
            sheet.box(cx, cy, width=side, height=side, fill=0.0)


def _strike(sheet: Sheet, x: float, y: float) -> None:
    """Mark a small picture as one that will not do: a cross in its lower right corner."""
    cx, cy, half = x + SMALL_WIDE_MM - 2.1, y + SMALL_HIGH_MM - 2.1, 1.0
    sheet.box(cx - 1.8, cy - 1.8, width=3.6, height=3.6, fill=_PAPER, weight_pt=_FINE_PT)
    sheet.line((cx - half, cy - half), (cx + half, cy + half), weight_pt=1.3)
    sheet.line((cx - half, cy + half), (cx + half, cy - half), weight_pt=1.3)
