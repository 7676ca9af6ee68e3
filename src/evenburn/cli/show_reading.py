"""What `evenburn read` found, for people and as JSON."""

from __future__ import annotations

import json
import sys
import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from evenburn.core.nouns.card import PatchReading, Reading
    from evenburn.services.read_card import CardRead

WIDEST = 100
COLUMNS = 4


def show_reading(read: CardRead, *, as_json: bool, file_name: str) -> None:
    """Print the tones of a card, what is doubted of them, and which photographs were left out."""
    if as_json:
        sys.stdout.write(json.dumps(read.document, ensure_ascii=False, indent=2) + "\n")
        return
    if read.reading is not None and read.card.kind == "motion":
        from evenburn.cli.show_motion import show_strokes

        show_strokes(read.reading)
    elif read.reading is not None and read.card.kind == "beam":
        from evenburn.cli.show_beam import show_ladder_reading

        show_ladder_reading(read.reading)
    elif read.reading is not None:
        _show_tones(read.reading)
    for photograph in read.refused:
        text = f"{photograph.name}: {photograph.text} {photograph.remedy}".replace("\u00a0", " ")
        _say(textwrap.fill(text, WIDEST, initial_indent="refused ", subsequent_indent=" " * 8))
    _say(f"{file_name} holds " + ("the numbers." if read.reading is not None else "why."))


def _show_tones(reading: Reading) -> None:
    card = reading.card
    count = reading.photographs
    _say(
        f"{card.wood_id}, {card.machine_name}, {card.lens_name}: {len(reading.patches)} patches from "
        f"{count} photograph{'' if count == 1 else 's'}"
    )
    _say(
        f"bare wood L* {reading.bare_wood_L:.1f} ± {reading.bare_wood_L_sd:.1f}, paper L* {reading.paper_L:.1f}, "
        f"mat printed at {100.0 * (1.0 + reading.print_scale_error):.1f} %"
    )
    cells = [_cell(p) for p in reading.patches]
    for start in range(0, len(cells), COLUMNS):
        _say("  " + "".join(f"{cell:<24}" for cell in cells[start : start + COLUMNS]).rstrip())
    from evenburn.core.card.flagging import in_runs  # loaded by then: a card was read

    doubted = [p for p in reading.patches if p.flags]
    for flag in sorted({f for p in doubted for f in p.flags}):
        names = in_runs([p.patch.id for p in doubted if flag in p.flags])
        _say(textwrap.fill(f"{flag}: {names}", WIDEST, initial_indent="  ", subsequent_indent=" " * 6))
    _say(
        f"all tones together may be off by ± {reading.offset_L_sd:.1f} L*, and stretched by "
        f"± {100.0 * reading.gain_sd:.1f} %; told L* of paper and toner make that smaller"
    )


def _cell(patch: PatchReading) -> str:
    mark = " !" if patch.flags else ""
    return f"{patch.patch.id:<4} L* {patch.tone_L:4.1f} ± {patch.tone_L_sd:.1f}{mark}"


def _say(text: str = "") -> None:
    encoding = sys.stdout.encoding or "utf-8"
    print(text.replace("\u00a0", " ").encode(encoding, "replace").decode(encoding))
