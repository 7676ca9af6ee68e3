"""Render `boathouse.jpg` and `dawn.jpg` of the demo batch: an invented river, as a plate camera of 1911 saw it.

    python tools/make_demo_photo.py [--to FOLDER]

Everything is computed from a fixed seed; no photograph goes in.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from PIL import Image

from demo_photo.brush import HEIGHT, WIDTH, plate
from demo_photo.dawn import dawn
from demo_photo.scene import boathouse_in_1911

HOME = Path(__file__).resolve().parent.parent / "src" / "evenburn" / "assets" / "demo" / "art"


def main() -> None:
    """Render the two photographs."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--to", type=Path, default=HOME)
    told = ask.parse_args()
    for name, seen in (("boathouse.jpg", boathouse_in_1911()), ("dawn.jpg", dawn())):
        file = told.to / name
        Image.fromarray(plate(seen, width=WIDTH, height=HEIGHT)).save(file, quality=88, optimize=True, dpi=(254, 254))
        print(f"{name}, {file.stat().st_size / 1000:.0f} kB")


if __name__ == "__main__":
    main()
