"""The rules on a proof: a scale bar in each enlargement, and the scale of focus offset below them."""

from __future__ import annotations

from PIL import Image, ImageDraw

from evenburn.adapters.pictures.proof_layout import Box, Layout
from evenburn.adapters.pictures.sheet_type import Type

LEAF, INK, DEED, WHITE = "#F5F8F1", "#17221E", "#0E5266", "#FFFFFF"
LABEL = Type(face="sheet-sans", size_px=22, colour=WHITE)
LABEL_BOLD = Type(face="sheet-sans-bold", size_px=22, colour=WHITE)
PLATE = Type(face="sheet-sans", size_px=22, colour=INK)
PLATE_SMALL = Type(face="sheet-sans", size_px=20, colour=INK)

BARS_mm = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
BAR_LONGEST_px, BAR_SMALL_px = 240, 120
NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
WHOLE = 0.015  # a count this near to a whole number is called whole
LINE_DOWN_px = 34  # the scale's line below the enlargements
APART_px = 22  # between two labels of the scale
NAME_APART_px = 56  # past the end of the scale, its bead or arrow included
FURTHEST_ASIDE_px = 70  # a label stands at most so far from what it names, else on a row of its own
SMOOTH = 4  # the round mark is drawn so much larger and averaged down


def bar_mm(pixel_mm: float, *, longest_px: int) -> float:
    """Return the longest round length that fits a scale bar. [mm]"""
    return max((mm for mm in BARS_mm if mm / pixel_mm <= longest_px), default=BARS_mm[0])


def lines_text(length_mm: float, *, line_spacing_mm: float) -> str:
    """Return how many scan lines a length holds, in words: `ten scan lines`, `7.1 scan lines`."""
    count = length_mm / line_spacing_mm
    if abs(count - round(count)) > WHOLE * count:
        return f"{count:.1f}\u00a0scan lines"
    whole = round(count)
    word = NUMBERS[whole] if whole < len(NUMBERS) else str(whole)
    return f"{word} scan line{'' if whole == 1 else 's'}"


def offset_text(offset_mm: float) -> str:
    """Return a focus offset as it is written: `+1.5 mm`, `−0.4 mm`, `0 mm`."""
    rounded = round(offset_mm, 1)
    sign = "+" if rounded > 0.0 else "−" if rounded < 0.0 else ""
    return f"{sign}{abs(rounded):g}\u00a0mm" if rounded == 0.0 else f"{sign}{abs(rounded):.1f}\u00a0mm"


def draw_scale_bar(
    canvas: ImageDraw.ImageDraw, box: Box, *, pixel_mm: float, after: str = "", line_spacing_mm: float | None = None
) -> None:
    """Draw a scale bar with its value on a plate in the lower left corner of an enlargement.

    With words after it the plate is large, and with a line spacing it says how many scan lines the bar holds.
    """
    large = bool(after) or line_spacing_mm is not None
    length_mm = bar_mm(pixel_mm, longest_px=min(BAR_LONGEST_px if large else BAR_SMALL_px, box.width // 3))
    long = round(length_mm / pixel_mm)
    text = f"{length_mm:g}\u00a0mm"
    if after:
        text += f"; {after}"
    if line_spacing_mm is not None:
        text += f", {lines_text(length_mm, line_spacing_mm=line_spacing_mm)}"
    style, high, pad, tick, margin = (PLATE, 40, 14, 7, 14) if large else (PLATE_SMALL, 30, 10, 5, 8)
    left, top = box.left + margin, box.bottom - margin - high
    wide = pad + long + pad + style.width_px(text) + pad
    canvas.rectangle((left, top, left + wide - 1, top + high - 1), fill=LEAF)
    x, y = left + pad, top + high // 2
    canvas.line((x, y, x + long, y), fill=INK, width=2)
    for end in (x, x + long):
        canvas.line((end, y - tick, end, y + tick), fill=INK, width=2)
    style.draw(canvas, (x + long + pad, y + (8 if large else 7)), text)


def draw_offset_scale(
    image: Image.Image, layout: Layout, *, offsets_mm: tuple[float, ...], planned_offset_mm: float
) -> None:
    """Draw the scale of focus offset, a tick exactly below each enlargement, the planned offset marked on it."""
    canvas = ImageDraw.Draw(image)
    scale = layout.scale
    y = layout.scale_top + LINE_DOWN_px
    shown = scale.low_mm - 1e-6 <= planned_offset_mm <= scale.high_mm + 1e-6
    left, right = scale.place_px(scale.low_mm), scale.place_px(scale.high_mm)
    canvas.line((left, y, right, y), fill=WHITE, width=3)
    for tenth in range(round(scale.low_mm * 10.0), round(scale.high_mm * 10.0) + 1):
        x = scale.place_px(tenth / 10.0)
        canvas.line((x, y - 5, x, y + 5), fill=WHITE, width=1)
    planned = scale.place_px(planned_offset_mm) if shown else (right + 30 if planned_offset_mm > 0.0 else left - 30)
    label = f"{offset_text(planned_offset_mm)} as planned"
    spans: list[tuple[int, int]] = []
    on_tick = False
    for mm in offsets_mm:
        x = scale.place_px(mm)
        canvas.line((x - 1, y - 12, x - 1, y + 12), fill=WHITE, width=3)
        text = f"{mm:g}\u00a0mm" + (", in focus" if mm == 0.0 else "")
        style = LABEL
        if abs(mm - planned_offset_mm) < 0.05:
            text, style, on_tick = f"{text}, as planned" if mm == 0.0 else label, LABEL_BOLD, True
        half = style.width_px(text) // 2
        spans.append((x - half, x + half))
        style.draw(canvas, (x, y + 44), text, anchor="ms")
    if not on_tick:
        half = LABEL_BOLD.width_px(label) // 2
        x = _aside(min(max(planned, half + 12), image.width - half - 12), half=half, spans=spans)
        free = abs(x - planned) <= FURTHEST_ASIDE_px and half < x < image.width - half
        LABEL_BOLD.draw(canvas, (x if free else planned, y + 44 if free else y + 76), label, anchor="ms")
        if not free:
            canvas.line((planned, y + 14, planned, y + 54), fill=WHITE, width=1)
    if shown:
        _draw_bead(image, (planned, y))
    else:
        _draw_arrow(canvas, (planned, y), right=planned_offset_mm > 0.0)
    _draw_name(canvas, layout, y=y)


def _aside(x: int, *, half: int, spans: list[tuple[int, int]]) -> int:
    """Return the middle of a label moved aside from the label it would run into."""
    for a, b in spans:
        if a - APART_px < x + half and x - half < b + APART_px:
            return b + APART_px + half if x > (a + b) // 2 else a - APART_px - half
    return x


def _draw_name(canvas: ImageDraw.ImageDraw, layout: Layout, *, y: int) -> None:
    """Say what the scale is of, on whichever side of it there is room."""
    left_room = layout.scale.place_px(layout.scale.low_mm) - layout.offsets[0].left
    if left_room > 150:
        LABEL.draw(canvas, (layout.offsets[0].left, y + 7), "focus offset")
        return
    room_from = layout.scale.place_px(layout.scale.high_mm) + NAME_APART_px
    if room_from + LABEL.width_px("focus offset") <= layout.planned.right:
        LABEL.draw(canvas, (room_from, y + 7), "focus offset")
    else:
        LABEL.draw(canvas, (layout.offsets[0].left, y + 76), "focus offset")


def _draw_bead(image: Image.Image, place: tuple[int, int]) -> None:
    """Draw the round mark of the planned offset, its edge smoothed."""
    radius = 15
    size = (2 * radius + 2) * SMOOTH
    mask = Image.new("L", (size, size), 0)
    ImageDraw.Draw(mask).ellipse((0, 0, size - 1, size - 1), fill=255)
    inner = Image.new("L", (size, size), 0)
    rim = 3 * SMOOTH
    ImageDraw.Draw(inner).ellipse((rim, rim, size - 1 - rim, size - 1 - rim), fill=255)
    small = (size // SMOOTH, size // SMOOTH)
    corner = (place[0] - small[0] // 2, place[1] - small[1] // 2)
    for colour, shape in ((WHITE, mask), (DEED, inner)):
        image.paste(colour, corner, shape.resize(small, Image.Resampling.BOX))


def _draw_arrow(canvas: ImageDraw.ImageDraw, tip: tuple[int, int], *, right: bool) -> None:
    """Draw an arrow that says: further that way."""
    x, y = tip
    back = -18 if right else 18
    canvas.polygon(((x, y), (x + back, y - 9), (x + back, y + 9)), fill=WHITE)
