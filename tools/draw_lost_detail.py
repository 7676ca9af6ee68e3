"""Draw docs/pictures/lost-detail.png: the proof of a script that its recipe cannot keep, as `evenburn plan` makes it.

.venv/bin/python tools/draw_lost_detail.py
"""

from __future__ import annotations

import shutil
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image

from evenburn.services.plan_batch import plan_batch

PICTURES = Path(__file__).resolve().parents[1] / "docs" / "pictures"
WIDTH_px = 1200
BATCH = """
name = "A script too small"
machine = "machine.toml"
lens = "2 inch"
[[piece]]
id = "ribbon"
name = "Ribbon plate"
wood = "hard-maple"
blank = { shape = "rounded", size_mm = [90.0, 36.0], radius_mm = 3.0, thickness_mm = 6.0, unevenness_mm = 0.2 }
place_bed_mm = [250.0, 180.0]
[[piece.mark]]
id = "name"
text = "Sedgeholm Regatta"
face = "great-vibes"
letter_mm = 4.5
tone_L = 36.0
place_mm = [6.0, 8.0]
size_mm = [78.0, 20.0]
hold = { focus_offset_mm = 2.5 }
"""


def main() -> None:
    """Plan the piece and keep its proof."""
    with TemporaryDirectory() as name:
        folder = Path(name) / "batch"
        folder.mkdir()
        with resources.as_file(resources.files("evenburn") / "assets" / "demo" / "machine.toml") as machine:
            shutil.copy(machine, folder)
        (folder / "batch.toml").write_text(BATCH, encoding="utf-8")
        planned = plan_batch(folder, to=Path(name) / "out", date="2026-11-25")
        for check in planned.plan.pieces[0].checks:
            print(f"{check.level}: {check.text} {check.remedy}")
        with Image.open(Path(name) / "out" / "ribbon-proof.png") as proof:
            high = round(proof.height * WIDTH_px / proof.width)
            proof.convert("RGB").resize((WIDTH_px, high), Image.Resampling.LANCZOS).save(
                PICTURES / "lost-detail.png", optimize=True
            )
    print("drew docs/pictures/lost-detail.png")


if __name__ == "__main__":
    main()
