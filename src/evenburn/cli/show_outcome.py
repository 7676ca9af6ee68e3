"""What `evenburn compare` and `evenburn drift` found, for people and as JSON."""

from __future__ import annotations

import json
import math
import sys
import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from evenburn.core.nouns.outcome import Outcome
    from evenburn.services.compare_piece import Compared
    from evenburn.services.name_drift import DriftFound

WIDEST = 100
FLAGS = {
    "curve-moved": "the curve told has learnt since the plan was made, so the plan's promise is not its own",
    "photographs-disagree": "the photographs tell different tones; take them again under one light",
    "saturated": "some of the mark ran into white and was left out",
    "uneven": "some of the mark is far off the rest of it and was left out: soot, a knot, or glare",
    "uneven-wood": "the bare wood beside it varies much: a shadow or glare may lie on the board",
}


def show_compared(compared: Compared, *, as_json: bool, file_name: str) -> None:
    """Print what was promised and got, what it means, and which photographs were left out."""
    if as_json:
        sys.stdout.write(json.dumps(compared.document, ensure_ascii=False, indent=2) + "\n")
        return
    if compared.outcome is not None:
        _show_outcome(compared.outcome)
        _show_update(compared)
    for one in compared.left_out:
        text = f"{one.name}: {one.text} {one.remedy}"
        _say(textwrap.fill(text, WIDEST, initial_indent="refused ", subsequent_indent=" " * 8))
    _say(f"{file_name} holds " + ("the numbers." if compared.outcome is not None else "why."))


def _show_outcome(outcome: Outcome) -> None:
    from evenburn.core.response.comparing import verdict_text

    got, promised = outcome.got, outcome.promised
    count = got.photographs
    _say(
        f"{outcome.piece_id}/{outcome.mark_id}, {outcome.wood_id}, from {count} photograph{'' if count == 1 else 's'}, "
        f"{got.inside_mm2 / 100.0:.1f} cm² read"
    )
    _say(f"promised L* {promised.tone_L:.1f} ± {promised.tone_L_sd:.1f}")
    bare = "" if got.bare_L is None else f"; bare wood beside it L* {got.bare_L:.1f}"
    _say(
        f"got      L* {got.tone_L:.1f} ± {math.hypot(got.own_L_sd, got.shared_L_sd):.1f}, of which paper and toner leave "
        f"± {got.shared_L_sd:.1f} open{bare}"
    )
    _say(_filled(verdict_text(outcome)))
    if outcome.board_L is not None:
        _say(f"boards of this lot scatter by ± {outcome.board_L:.1f} L* by themselves")
    if outcome.shift is not None:
        share, sd = _share(outcome.shift.decades, outcome.shift.decades_sd)
        _say(f"it looks as if it got {abs(share):.0f} ± {sd:.0f} % {'less' if share < 0.0 else 'more'} exposure")
    for flag in outcome.flags:
        _say(_filled(f"{flag}: {FLAGS.get(flag, '')}"))


def _show_update(compared: Compared) -> None:
    update = compared.document.get("update")
    if update is None or "written" not in update:
        return
    _say(_filled(f"{update['written']} has learnt from it: {update['text']}"))


def show_drift(found: DriftFound, *, as_json: bool) -> None:
    """Print each lot's shift, and what they have in common."""
    if as_json:
        sys.stdout.write(json.dumps(found.document, ensure_ascii=False, indent=2) + "\n")
        return
    named = found.named
    wide = max(len(k.lot) for k in named.lots)
    for lot in named.lots:
        share, sd = _share(lot.decades, lot.decades_sd)
        marks = f"{lot.marks} mark{'' if lot.marks == 1 else 's'}"
        _say(f"{lot.lot:<{wide}}  {share:+4.0f} ± {sd:.0f} % exposure, {marks}")
    for name in named.left_out:
        _say(f"{name} tells nothing of the exposure and is left out")
    _say(_filled(named.text))
    _say(_filled(named.remedy))


def _share(decades: float, decades_sd: float) -> tuple[float, float]:
    """Return a shift in percent, and its standard deviation."""
    factor = math.pow(10.0, decades)
    return 100.0 * (factor - 1.0), 100.0 * math.log(10.0) * factor * decades_sd


def _filled(text: str) -> str:
    return textwrap.fill(text, WIDEST, subsequent_indent="  ")


def _say(text: str = "") -> None:
    encoding = sys.stdout.encoding or "utf-8"
    print(text.replace("\u00a0", " ").encode(encoding, "replace").decode(encoding))
