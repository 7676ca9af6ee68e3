"""What `evenburn check` found, for people and as JSON."""

from __future__ import annotations

import json
import sys
import textwrap
from typing import TYPE_CHECKING

from evenburn.core.units import duration_text

if TYPE_CHECKING:
    from evenburn.services.check_batch import Checked

WIDEST = 100


def show_checked(checked: Checked, *, as_json: bool) -> None:
    """Print every stop and warning by piece, then how many pieces may be burnt."""
    if as_json:
        sys.stdout.write(json.dumps(_document(checked), ensure_ascii=False, indent=2) + "\n")
        return
    _say(checked.name)
    for piece in checked.pieces:
        told = [c for c in piece.checks if c.level != "note" and c.code != "starting-value-curve"]
        if not told:
            continue
        _say()
        _say(f"     {piece.piece.id}: {piece.piece.name}")
        for check in told:
            place = f"{check.mark_id}: " if check.mark_id else ""
            text = f"{place}{check.text} {check.remedy}".replace("\u00a0", " ")
            _say(textwrap.fill(text, WIDEST, initial_indent=f"     {check.level:<5}", subsequent_indent=" " * 10))
    stopped = sum(piece.stopped() for piece in checked.pieces)
    time_s = sum(piece.time_s for piece in checked.pieces)
    _say()
    _say(
        f"{len(checked.pieces)} pieces checked: {len(checked.pieces) - stopped} may be burnt, {stopped} stopped; "
        f"{duration_text(time_s)} of burning. Nothing was written."
    )


def _say(text: str = "") -> None:
    encoding = sys.stdout.encoding or "utf-8"
    print(text.encode(encoding, "replace").decode(encoding))


def _document(checked: Checked) -> dict[str, object]:
    return {
        "name": checked.name,
        "pieces": [
            {
                "id": piece.piece.id,
                "name": piece.piece.name,
                "stopped": piece.stopped(),
                "time_s": round(piece.time_s, 3),
                "checks": [
                    {
                        "level": check.level,
                        "code": check.code,
                        "mark": check.mark_id or None,
                        "text": check.text.replace("\u00a0", " "),
                        "remedy": check.remedy.replace("\u00a0", " "),
                    }
                    for check in piece.checks
                ],
            }
            for piece in checked.pieces
        ],
    }
