"""Draw the pictures of docs/how-it-works/card.md: the mat, the burn image of a card, and that card burnt.

The burnt card is no photograph: it comes from the virtual bench of the tests, a simulation, and is labelled so.
"""

from __future__ import annotations

import sys
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory

import pypdfium2
from PIL import Image

from evenburn.services.make_card import CardWish, make_wood_card

ROOT = Path(__file__).resolve().parents[1]
PICTURES = ROOT / "docs" / "pictures"
ROUND_mm = 8.0
WIDE_px = 1000


def main() -> None:
    """Write the three pictures."""
    sys.path.insert(0, str(ROOT / "tests"))
    from virtual_bench import Bench

    machine = Path(str(resources.files("evenburn") / "assets" / "demo" / "machine.toml"))
    with TemporaryDirectory() as name:
        folder = Path(name)
        made = make_wood_card(machine, CardWish(wood_id="hard-maple"), to=folder, date="2026-06-09")
        page = pypdfium2.PdfDocument((folder / "mat.pdf").read_bytes())[0]
        page.render(scale=100.0 / 72.0, grayscale=True).to_pil().save(PICTURES / "mat.png", optimize=True)
        with Image.open(folder / "card.png") as burn:
            burn.convert("L").quantize(32).save(PICTURES / "card-burn-image.png", optimize=True)
        x, y = made.card.origin_bed_mm
        wide, high = made.card.size_mm
        board = Bench(1, "hard-maple").burn(
            (folder / "card.ngc").read_text(encoding="utf-8"),
            (wide + 2.0 * ROUND_mm, high + 2.0 * ROUND_mm),
            (x - ROUND_mm, y - ROUND_mm),
            focus_offset_mm=made.card.focus_offset_mm,
            board=1,
        )
    picture = Image.fromarray(board.picture())
    picture.thumbnail((WIDE_px, WIDE_px))
    picture.save(PICTURES / "card-burnt.jpg", quality=82, optimize=True)


if __name__ == "__main__":
    main()
