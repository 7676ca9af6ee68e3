"""Artwork beside its peers, in one process each: halftones against Pillow, a drawing to its burn map.

Prints rows of `what, seconds, peer, ratio, asked`; `bench/run.py` runs it and saves what it says. Each time is the best of
a few, for what disturbs a run only ever makes it longer.
"""

from __future__ import annotations

import csv
import resource
import sys
import time
from collections.abc import Callable

from evenburn.adapters.artwork.svg import parse_svg
from evenburn.core.art.inset import inset_ink
from halftone import measure_halftones
from svg import measure_svg

RUNS = 5
SIZE_mm = (300.0, 200.0)
PIXEL_mm = 0.05


def best_s(work: Callable[[], object], *, runs: int = RUNS) -> float:
    """Return the best wall time of a few runs. [s]"""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def halftones() -> list[list[str]]:
    """Return the rows of the halftones: a map of 24 megapixels, side by side with Pillow's error diffusion."""
    rows = []
    for each in measure_halftones():
        asked = "" if each.most_of_pillow is None else f"at most {each.most_of_pillow:.2f}"
        rows.append(
            [
                f"{each.name}, 24 megapixels",
                f"{each.wall_s:.3f}",
                "Pillow's error diffusion",
                f"{each.of_pillow:.2f}",
                asked,
            ]
        )
    return rows


def drawing() -> list[list[str]]:
    """Return the row of a drawing of 300 × 200 mm to its burn map at 0.05 mm: parsed, drawn, inset."""
    shapes = "".join(
        f'<path d="M{x} {y}q4 -6 8 0t8 0l-3 9q-6 5 -12 0z" fill="#000"/>'
        for x in range(4, 290, 18)
        for y in range(8, 190, 16)
    )
    data = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="300mm" height="200mm" viewBox="0 0 300 200">{shapes}</svg>'
    ).encode()
    width, height = round(SIZE_mm[0] / PIXEL_mm), round(SIZE_mm[1] / PIXEL_mm)

    def work() -> None:
        ink = parse_svg(data, name="bench").ink(width_px=width, height_px=height)
        burnt = inset_ink(
            ink, pixel_mm=PIXEL_mm, beam_radius_mm=0.09, smear_mm=0.05, half_tone_dose_fraction=0.6, scan_axis="x"
        )
        assert burnt.any()

    work()  # compiled before it is timed
    took_s = best_s(work, runs=3)
    memory_MB = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e6
    return [
        ["drawing to burn map, 300 x 200 mm at 0.05 mm", f"{took_s:.2f}", f"{memory_MB:.0f} MB", "", "3 s, 1000 MB"]
    ]


def heavy() -> list[list[str]]:
    """Return the row of a heavy drawing, 5000 curved paths and 200 texts, to pixels at 0.05 mm."""
    took_s, memory_MB = measure_svg("heavy")
    return [["5000 curves and 200 texts, 300 x 200 mm", f"{took_s:.2f}", f"{memory_MB:.0f} MB", "", "3 s, 1000 MB"]]


def main() -> None:
    """Print the rows of one part; each part is a process of its own, so that its memory is its own."""
    parts = {"halftones": halftones, "drawing": drawing, "heavy": heavy}
    csv.writer(sys.stdout, lineterminator="\n").writerows(parts[sys.argv[1]]())


if __name__ == "__main__":
    main()
