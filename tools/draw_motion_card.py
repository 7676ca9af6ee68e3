"""Draw the picture of docs/how-it-works/stopwatch.md: a motion card as it was read from a photograph.

The photograph is none: it comes from the virtual bench of the tests, a simulation, and is labelled so.
"""

from __future__ import annotations

import sys
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory

from evenburn.adapters.formats.card_json import card_document
from evenburn.adapters.pictures.strokes_read import strokes_picture
from evenburn.core.card.reversal import read_reversal
from evenburn.services.make_motion_card import make_motion_card

ROOT = Path(__file__).resolve().parents[1]
PICTURE = ROOT / "docs" / "pictures" / "motion-card-read.png"
ROUND_mm = 14.0
WIDE_px = 1200


def main() -> None:
    """Write the picture."""
    sys.path.insert(0, str(ROOT / "tests"))
    from virtual_bench import Bench

    machine = Path(str(resources.files("evenburn") / "assets" / "demo" / "machine.toml"))
    with TemporaryDirectory() as name:
        made = make_motion_card(machine, "hard-maple", to=Path(name), date="2026-06-09")
        (x, y), (wide, high) = made.card.origin_bed_mm, made.card.size_mm
        board = Bench(2, "hard-maple").burn(
            (Path(name) / "card.ngc").read_text(encoding="utf-8"),
            (wide + 2.0 * ROUND_mm, high + 2.0 * ROUND_mm),
            (x - ROUND_mm, y - ROUND_mm),
            board=1,
        )
    middle = (0.5 * wide + ROUND_mm, 0.5 * high + ROUND_mm)
    photograph = board.photograph(card_document(made.card)["mat"], card_middle_mm=middle, seed=2)
    picture = strokes_picture(photograph.image, read_reversal(photograph.image, made.card))
    picture.thumbnail((WIDE_px, WIDE_px))
    picture.quantize(96).save(PICTURE, optimize=True)


if __name__ == "__main__":
    main()
