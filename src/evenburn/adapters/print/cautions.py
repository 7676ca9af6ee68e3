"""The box of cautions on the first page, and those of a card."""

from __future__ import annotations

from evenburn.adapters.print.faces import SANS, SERIF_BOLD, wrap
from evenburn.adapters.print.figures import lens_words
from evenburn.adapters.print.page import SECTION_PT, Block, Sheet
from evenburn.core.nouns.cautions import cautions_for
from evenburn.core.nouns.machine import Lens

_SIZE_PT = 9.0
_LEADING = 4.0
_ROW = 5.25
_INSET = 3.6
_TEXT_INSET = 4.9

FOOD = next(one.tick for one in cautions_for(decision="finish") if one.key == "food")


def caution_lines(lens: Lens) -> tuple[str, ...]:
    """Return what is to be ticked before the first spark, most pressing first."""
    found = cautions_for(decision="burn", wavelength_um=lens.wavelength_um, lens=lens_words(lens))
    return tuple(one.tick for one in found if one.tick)


def card_caution_lines(lens: Lens, *, timed: bool = False) -> tuple[str, ...]:
    """Return what is to be ticked before a card is burnt, and where the machine is timed too what belongs to that."""
    found = cautions_for(decision="card", wavelength_um=lens.wavelength_um, lens=lens_words(lens))
    if timed:
        found += tuple(one for one in cautions_for(decision="stopwatch") if one not in found)
    return tuple(one.tick or one.text for one in found)


def caution_box(lens: Lens, *, left: float, right: float) -> Block:
    """Return the framed box, two columns of boxes to tick and a line on food contact."""
    column = (right - left - _INSET) / 2
    room = column - _INSET - _TEXT_INSET
    entries = [wrap(words, SANS, size_pt=_SIZE_PT, width=room) for words in caution_lines(lens)]
    half = (len(entries) + 1) // 2
    columns = (entries[:half], entries[half:])
    tall = max(sum(_ROW + _LEADING * (len(lines) - 1) for lines in one) for one in columns)
    food_room = room if len(entries) % 2 else right - left - 2 * _INSET - _TEXT_INSET
    food = wrap(FOOD, SANS, size_pt=_SIZE_PT, width=food_room)
    second = sum(_ROW + _LEADING * (len(lines) - 1) for lines in columns[1])
    height = 10.4 + max(tall, second + _ROW + _LEADING * (len(food) - 1)) + 1.2

    def draw(sheet: Sheet, y: float) -> None:
        sheet.box(left, y, width=right - left, height=height, weight_pt=SECTION_PT)
        sheet.text(left + _INSET, y + 6.0, "Before the first spark", face=SERIF_BOLD, size_pt=10.2)
        for number, one in enumerate((columns[0], [*columns[1], food])):
            x = left + _INSET + number * column
            line = y + 11.6
            for lines in one:
                sheet.tick(x, line)
                sheet.lines(x + _TEXT_INSET, line, lines, leading=_LEADING, size_pt=_SIZE_PT)
                line += _ROW + _LEADING * (len(lines) - 1)

    return Block(height, draw)
