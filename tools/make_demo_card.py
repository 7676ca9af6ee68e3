"""Burn and photograph the demo's wood card on the virtual bench: no card, no wood and no phone, and it says so.

    python tools/make_demo_card.py [--to FOLDER]

The virtual bench (`tests/virtual_bench/`) is a test double with physics of its own; everything follows from seeds.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
from pathlib import Path

from evenburn.services.make_card import CardWish, make_wood_card

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "src" / "evenburn" / "assets" / "demo"
sys.path.insert(0, str(ROOT / "tests"))

from virtual_bench import Bench  # noqa: E402  # tests are no package that is installed

WOOD, DATE = "hard-maple", "2026-06-01"
BENCH_SEED, PHOTOGRAPH_SEED = 11, 5
ROUND_mm = 15.0  # of the same board round the card
WARP_mm = 0.1


def main() -> None:
    """Write card.json and photo.jpg."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--to", type=Path, default=DEMO / "cards" / WOOD)
    told = ask.parse_args()
    told.to.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as temporary:
        made = Path(temporary)
        make_wood_card(DEMO / "machine.toml", CardWish(wood_id=WOOD), to=made, date=DATE)
        card = json.loads((made / "card.json").read_text(encoding="utf-8"))
        program = (made / "card.ngc").read_text(encoding="utf-8")
        shutil.copyfile(made / "card.json", told.to / "card.json")
    wide, high = card["card"]["size_mm"]
    x, y = card["card"]["origin_bed_mm"]
    board = Bench(BENCH_SEED, WOOD).burn(
        program,
        (wide + 2.0 * ROUND_mm, high + 2.0 * ROUND_mm),
        (x - ROUND_mm, y - ROUND_mm),
        focus_offset_mm=card["focus_offset_mm"],
        warp_mm=WARP_mm,
    )
    middle = (0.5 * wide + ROUND_mm, 0.5 * high + ROUND_mm)
    photo = board.photograph(card["mat"], card_middle_mm=middle, seed=PHOTOGRAPH_SEED)
    file = photo.save_jpeg(told.to / "photo.jpg")
    print(f"{file.name}, {file.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
