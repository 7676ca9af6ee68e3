"""What a burn loses, marked on the proof: a broken frame where strokes vanish, a dotted one where gaps fill.

Both frames stand on white, so that they show on light and on dark wood, and differ by shape, so that they differ in print.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from PIL import Image, ImageDraw

from evenburn.adapters.pictures.proof_layout import Box
from evenburn.adapters.pictures.sheet_type import Type
from evenburn.core.proof.lost_places import Kind, LostPlace

WARN, WHITE = "#5A3AA0", "#FFFFFF"
KINDS: tuple[Kind, ...] = ("vanish", "fill")
AROUND_px = 7
LEAST_SIDE_px = {"vanish": 34, "fill": 22}  # a dotted frame about a small gap fits into a broken one
DASH_px, DASH_GAP_px = 10, 7
DOT_px, DOT_STEP_px = 8, 15
SMOOTH = 4  # a dot is drawn so much larger and averaged down
SAMPLE_px = (44, 24)


def lost_words(places: Sequence[LostPlace], *, kind: Kind) -> str:
    """Return how many strokes vanish or gaps fill, in words; empty where there are none."""
    count = sum(place.count for place in places if place.kind == kind)
    if count == 0:
        return ""
    if kind == "vanish":
        return f"{count} stroke{'s vanish' if count > 1 else ' vanishes'}"
    return f"{count} gap{'s fill' if count > 1 else ' fills'}"


def draw_lost(image: Image.Image, board: Box, places: Sequence[LostPlace]) -> None:
    """Frame every place on the drawn board."""
    for place in sorted(places, key=lambda place: place.kind, reverse=True):  # dots stand on broken frames
        x0, y0, x1, y1 = place.box_on_board
        least = LEAST_SIDE_px[place.kind]
        left, right = _side(board.left + x0 * board.width, board.left + x1 * board.width, least_px=least)
        top, bottom = _side(board.bottom - y1 * board.height, board.bottom - y0 * board.height, least_px=least)
        _frame(image, (left, top, right, bottom), kind=place.kind)


def draw_lost_legend(
    image: Image.Image, place: tuple[int, int], places: Sequence[LostPlace], *, style: Type, rest: str
) -> None:
    """Say on one line what the frames mean and how much is lost; `place` is the baseline's left end."""
    canvas = ImageDraw.Draw(image)
    x, y = place
    for kind in KINDS:
        words = lost_words(places, kind=kind)
        if not words:
            continue
        _frame(image, (x + 4, y - SAMPLE_px[1] + 4, x + 4 + SAMPLE_px[0], y + 4), kind=kind)
        x += SAMPLE_px[0] + 20
        style.draw(canvas, (x, y), words)
        x += style.width_px(words) + 40
    style.draw(canvas, (x, y), rest)


def _side(low: float, high: float, *, least_px: int) -> tuple[int, int]:
    """Return the two ends of a frame's side, clear of what it frames and never too small to be seen."""
    grow = max(AROUND_px, 0.5 * (least_px - (high - low)))
    return round(low - grow), round(high + grow)


def _frame(image: Image.Image, corners: tuple[int, int, int, int], *, kind: Kind) -> None:
    canvas = ImageDraw.Draw(image)
    if kind == "vanish":
        left, top, right, bottom = corners
        canvas.rectangle((left - 2, top - 2, right + 2, bottom + 2), outline=WHITE, width=5)
        for (x0, y0), (x1, y1) in _dashes(corners):
            canvas.rectangle((min(x0, x1) - 1, min(y0, y1) - 1, max(x0, x1) + 1, max(y0, y1) + 1), fill=WARN)
        return
    stamps = [(colour, _disc(size)) for colour, size in ((WHITE, DOT_px + 4), (WARN, DOT_px))]
    for x, y in _dots(corners):
        for colour, stamp in stamps:
            image.paste(colour, (x - stamp.width // 2, y - stamp.height // 2), stamp)


def _spaced(low: int, high: int, *, step: int) -> list[int]:
    """Return places from one end to the other, both ends among them, about a step apart."""
    count = max(1, round((high - low) / step))
    return [round(low + (high - low) * k / count) for k in range(count + 1)]


def _dashes(corners: tuple[int, int, int, int]) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Yield both ends of each dash; every corner is drawn."""
    left, top, right, bottom = corners
    half = DASH_px // 2
    for x in _spaced(left, right, step=DASH_px + DASH_GAP_px):
        for y in (top, bottom):
            yield (max(x - half, left), y), (min(x + half, right), y)
    for y in _spaced(top, bottom, step=DASH_px + DASH_GAP_px):
        for x in (left, right):
            yield (x, max(y - half, top)), (x, min(y + half, bottom))


def _dots(corners: tuple[int, int, int, int]) -> list[tuple[int, int]]:
    left, top, right, bottom = corners
    places = [(x, y) for x in _spaced(left, right, step=DOT_STEP_px) for y in (top, bottom)]
    places += [(x, y) for y in _spaced(top, bottom, step=DOT_STEP_px)[1:-1] for x in (left, right)]
    return places


def _disc(size: int) -> Image.Image:
    """Return a round mask with a smooth edge."""
    mask = Image.new("L", (size * SMOOTH, size * SMOOTH), 0)
    ImageDraw.Draw(mask).ellipse((0, 0, size * SMOOTH - 1, size * SMOOTH - 1), fill=255)
    return mask.resize((size, size), Image.Resampling.BOX)
