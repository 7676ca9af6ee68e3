"""Draw the artwork of the demo batch into a folder.

    python tools/make_demo_art.py --fonts FOLDER [--to FOLDER] [--only NAME]

FOLDER holds `brygada-1918-latin-wght-normal.woff2` (npm `@fontsource-variable/brygada-1918`, OFL-1.1); the small
capitals leave it as outlines, so the drawings need no font.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from functools import partial
from pathlib import Path

from demo_art import captain, coasters, crew, ferry, heron, outlines
from demo_art.letters import Face

HOME = Path(__file__).resolve().parent.parent / "src" / "evenburn" / "assets" / "demo" / "art"


def main() -> None:
    """Draw all, or the one asked for."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--fonts", type=Path, required=True)
    ask.add_argument("--to", type=Path, default=HOME)
    ask.add_argument("--only", default="")
    told = ask.parse_args()
    caps = Face.open(told.fonts / "brygada-1918-latin-wght-normal.woff2", weight=540)
    drawings: dict[str, Callable[[], str]] = {
        "crew": partial(crew.crew_svg, caps),
        "eights": partial(crew.eights_svg, caps),
        "captain": captain.captain_svg,
        "ferry": partial(ferry.ferry_svg, caps),
        "heron": heron.heron_svg,
        "coaster-anchor": coasters.anchor_svg,
        "coaster-oars": partial(coasters.oars_svg, caps),
        "coaster-monogram": partial(coasters.monogram_svg, caps),
        "coaster-swan": coasters.swan_svg,
        "oar-blade": outlines.oar_blade_svg,
        "tray": outlines.tray_svg,
        "coaster-set": outlines.coaster_set_svg,
    }
    for name, draw in drawings.items():
        if told.only in {"", name}:
            text = draw()
            (told.to / f"{name}.svg").write_text(text, encoding="utf-8")
            print(f"{name}.svg, {len(text) / 1000:.0f} kB")


if __name__ == "__main__":
    main()
