"""Draw the picture of docs/how-it-works/closing-the-loop.md: a pennant planned, burnt and photographed on the virtual bench.

The bench is a test double (`tests/virtual_bench`); nothing in the picture was measured.

    .venv/bin/python tools/draw_closing_the_loop.py
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

PENNANT = (
    '<path fill-rule="evenodd" d="M0 0 L60 6 L46 20 L60 34 L0 40 Z M20 11 a9 9 0 1 0 0.01 0 Z"/>'
    '<path d="M20 14 L22 18 L26 20 L22 22 L20 26 L18 22 L14 20 L18 18 Z"/>'
)
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="40mm" viewBox="0 0 60 40">'


def main() -> None:
    """Draw it."""
    from PIL import Image

    from evenburn.adapters.formats.json_file import write_json
    from evenburn.services.compare_piece import CompareWish, compare_piece
    from evenburn.services.plan_batch import plan_batch
    from service import finished_pieces as bench
    from service.conftest import MACHINE

    only_front = bench.BATCH.split("[[piece.mark]]")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        batch = folder / "batch"
        batch.mkdir()
        (batch / "machine.toml").write_text(MACHINE, encoding="utf-8")
        (batch / "batch.toml").write_text("[[piece.mark]]".join(only_front[:2]), encoding="utf-8")
        (batch / "front.svg").write_text(f"{HEAD}{PENNANT}</svg>", encoding="utf-8")
        plan_batch(batch, to=folder / "out", date="2026-06-09")
        photo = bench.burnt(folder).photograph(
            bench.mat_document()["mat"], card_middle_mm=(71.0, 57.0), seed=3, askew_deg=3.2
        )
        write_json(folder / "card.json", bench.mat_document())
        target = ROOT / "docs" / "pictures" / "closing-the-loop.png"
        compare_piece(
            [photo.save_jpeg(folder / "oar.jpg")],
            folder / "out" / "plan.json",
            folder / "card.json",
            wish=CompareWish(
                piece_id="oar",
                paper_L=photo.printer.paper_L,
                toner_L=photo.printer.toner_L,
                drawing=target,
            ),
            to=folder / "outcome.json",
            date="2026-06-20",
        )
        picture = Image.open(target).convert("RGB")
        small = picture.resize((1000, round(1000 * picture.height / picture.width)), Image.Resampling.LANCZOS)
        small.quantize(192).save(target, optimize=True)
        print(f"drew docs/pictures/{target.name}")


if __name__ == "__main__":
    main()
