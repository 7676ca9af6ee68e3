"""A card that was made, for people and as JSON."""

from __future__ import annotations

import json
import sys
import textwrap
from typing import TYPE_CHECKING

from evenburn.core.units import duration_text

if TYPE_CHECKING:
    from evenburn.services.make_card import CardMade

WIDEST = 100


def show_card(made: CardMade, *, as_json: bool) -> None:
    """Print what was made, how to set it up, what to mind before it burns, and what to do afterwards."""
    if as_json:
        sys.stdout.write(json.dumps(_document(made), ensure_ascii=False, indent=2) + "\n")
        return
    card = made.card
    what = "strip" if card.kind == "strip" else "wood card"
    wide, high = card.size_mm
    x, y = card.origin_bed_mm
    powers = [p.power_W for p in card.patches]
    speeds = [p.speed_mm_per_s for p in card.patches]
    twice = sum(p.passes > 1 for p in card.patches)
    _say(
        f"{what} for {made.wood.name}, {wide:g} × {high:g} mm, {len(card.patches)} patches, {twice} of them burnt twice"
    )
    _say()
    rows = (
        ("burns for", duration_text(made.time_s)),
        ("machine", f"{card.machine_name}, lens {card.lens_name}"),
        (
            "stand-off",
            (
                f"{made.lens.focus_stand_off_mm + card.focus_offset_mm:.1f} mm: focus offset {card.focus_offset_mm:+.1f} mm, "
                f"where the spot is {2.0 * card.beam_radius_mm:.2f} mm wide and lines {made.line_spacing_mm:g} mm apart burn evenly"
            ),
        ),
        ("lies", f"lower left corner at x {x:g}, y {y:g} mm; {MARGIN_TEXT}"),
        ("power", f"{min(powers):.1f} to {max(powers):.1f} W"),
        ("speed", f"{min(speeds):g} to {max(speeds):g} mm/s"),
        ("air", "as you will use it for the work"),
    )
    for name, text in rows:
        _fill(f"  {name:<11}", text)
    for check in made.checks:
        _fill(f"  {check.level:<11}", f"{check.text} {check.remedy}")
    _say()
    _say("Before the first spark")
    for caution in made.cautions:
        _fill("  [ ] ", caution)
    _say()
    _say(f"{', '.join(made.files)} are in {made.folder.name or made.folder}.")
    _fill(
        "next: ",
        "print mat.pdf at 100 %, burn card.ngc, lay the mat round the card, photograph it, then "
        "evenburn read PHOTO --card card.json --to reading.json",
    )


MARGIN_TEXT = "the wood is to reach 10 mm further all round"


def _document(made: CardMade) -> dict[str, object]:
    return {
        "card": made.document,
        "time_s": round(made.time_s, 3),
        "line_spacing_mm": made.line_spacing_mm,
        "stand_off_mm": made.lens.focus_stand_off_mm + made.card.focus_offset_mm,
        "checks": [
            {
                "level": check.level,
                "code": check.code,
                "text": check.text.replace("\u00a0", " "),
                "remedy": check.remedy.replace("\u00a0", " "),
            }
            for check in made.checks
        ],
        "cautions": [caution.replace("\u00a0", " ") for caution in made.cautions],
        "files": list(made.files),
    }


def _fill(lead: str, text: str) -> None:
    plain = text.replace("\u00a0", " ")
    _say(textwrap.fill(plain, WIDEST, initial_indent=lead, subsequent_indent=" " * len(lead)))


def _say(text: str = "") -> None:
    encoding = sys.stdout.encoding or "utf-8"
    print(text.replace("\u00a0", " ").encode(encoding, "replace").decode(encoding))
