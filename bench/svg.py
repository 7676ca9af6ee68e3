"""Draw SVGs to burn maps of 300 × 200 mm at 0.05 mm, 6000 × 4000 pixels, and follow their outlines.

Two drawings: a simple one, and one of five thousand curved paths and two hundred texts. `python bench/svg.py simple` or
`… heavy` does one job and prints its wall time, reading of the SVG included; run it in a process of its own to weigh memory.
The first run ever on a machine also compiles the renderer, which is kept afterwards; it is timed apart.
"""

from __future__ import annotations

import argparse
import math
import random
import resource
import sys
import time

SIZE_px = (6000, 4000)
SIZE_mm = (300.0, 200.0)
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="200mm" viewBox="0 0 300 200">'
CURVED_PATHS, TEXTS = 5000, 200


def simple_drawing() -> str:
    """Return one large circle."""
    return f'{HEAD}<circle cx="150" cy="100" r="80"/></svg>'


def heavy_drawing(*, texts: int = TEXTS) -> str:
    """Return curved leaves, every other one a line, and texts, all inside the page."""
    draw = random.Random(5)  # noqa: S311  # a drawing, not a secret
    parts = []
    for k in range(CURVED_PATHS):
        x, y, turn = draw.uniform(8, 292), draw.uniform(8, 192), draw.uniform(0, 360)
        curves = "".join(
            f"C{x + 5 * math.cos(a + 0.3):.3f} {y + 3 * math.sin(a + 0.3):.3f} "
            f"{x + 2 * math.cos(a + 0.6):.3f} {y + 4 * math.sin(a + 0.6):.3f} "
            f"{x + 4 * math.cos(a + 0.785):.3f} {y + 3 * math.sin(a + 0.785):.3f}"
            for a in (step * math.pi / 4 for step in range(8))
        )
        paint = 'fill="none" stroke="#000" stroke-width="0.3"' if k % 2 else ""
        parts.append(
            f'<path transform="rotate({turn:.0f} {x:.3f} {y:.3f})" d="M{x + 4:.3f} {y:.3f}{curves}Z" {paint}/>'
        )
    for k in range(texts):
        x, y, size = draw.uniform(5, 220), draw.uniform(12, 195), draw.uniform(3, 7)
        parts.append(
            f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.1f}" font-family="EB Garamond">Sedgeholm Regatta {k}</text>'
        )
    return f"{HEAD}{''.join(parts)}</svg>"


def measure_svg(which: str) -> tuple[float, float]:
    """Return wall time of SVG to burn map, and peak memory of this process: "simple" or "heavy". [s, MB]"""
    from evenburn.adapters.artwork.svg import parse_svg

    parse_svg(simple_drawing().encode(), name="warm").ink(width_px=60, height_px=40)  # compiles, or loads what was kept
    data = (simple_drawing() if which == "simple" else heavy_drawing()).encode()
    start_s = time.perf_counter()
    ink = parse_svg(data, name=f"{which}.svg").ink(width_px=SIZE_px[0], height_px=SIZE_px[1])
    wall_s = time.perf_counter() - start_s
    assert ink.shape == SIZE_px[::-1]
    assert 0.05 < float(ink.mean()) < 0.95
    bytes_per_unit = 1 if sys.platform == "darwin" else 1024
    return wall_s, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * bytes_per_unit / 1e6


def main() -> None:
    """Do one job and print its figures."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("which", choices=("simple", "heavy"))
    wall_s, peak_MB = measure_svg(arguments.parse_args().which)
    print(f"{peak_MB:.0f} MB")
    print(f"{wall_s:.3f}")


if __name__ == "__main__":
    main()
