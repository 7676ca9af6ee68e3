"""Weigh halftones of 24 megapixels side by side with Pillow's own error diffusion; `python bench/halftone.py` prints them.

All are timed in turn, round after round, and the best of each is kept: what else the machine does then slows all alike.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from evenburn.core.tone.diffusion import KERNELS, diffuse
from evenburn.core.tone.halftone import HALFTONES, screened

ROWS, COLUMNS = 4000, 6000
ROUNDS = 5
CELL_px = 4
PILLOW = "Pillow, error diffusion"
DIFFUSION_MOST = 1.5  # times Pillow's own
MASK_MOST = 1.0 / 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Halftoned:
    """What a halftone took: the best of its wall times, over that of Pillow, and what was promised of that."""

    name: str
    wall_s: float
    of_pillow: float
    most_of_pillow: float | None


def photo_like() -> NDArray[np.float32]:
    """Return coverage of 24 megapixels: soft shapes and grain."""
    y, x = np.ogrid[0:ROWS, 0:COLUMNS]
    light = 0.5 + 0.3 * np.sin(x / 500.0, dtype=np.float32) * np.cos(y / 300.0, dtype=np.float32)
    grain = np.random.default_rng(24).standard_normal((ROWS, COLUMNS), dtype=np.float32)
    return np.clip(light + np.float32(0.05) * grain, 0.0, 1.0).astype(np.float32)


def measure_halftones() -> tuple[Halftoned, ...]:
    """Return what every halftone took, Pillow's own first; compiled beforehand, masks made beforehand."""
    coverage = photo_like()
    grey = np.round(255.0 * (1.0 - coverage)).astype(np.uint8)
    picture = Image.fromarray(grey)
    jobs: dict[str, tuple[Callable[[], object], float | None]] = {
        PILLOW: (lambda: picture.convert("1"), None),
    }
    for kernel in KERNELS:
        jobs[kernel] = (lambda k=kernel: diffuse(coverage, kernel=k), DIFFUSION_MOST)  # type: ignore[misc]
    for name in HALFTONES:
        if name not in KERNELS:
            jobs[name] = (lambda n=name: screened(coverage, name=n, cell_px=CELL_px), MASK_MOST)  # type: ignore[misc]
    for name in HALFTONES:
        screened(coverage[:8], name=name, cell_px=CELL_px)
    best = dict.fromkeys(jobs, float("inf"))
    for _ in range(ROUNDS):
        for name_of_job, (job, _) in jobs.items():
            start_s = time.perf_counter()
            job()
            best[name_of_job] = min(best[name_of_job], time.perf_counter() - start_s)
    return tuple(
        Halftoned(name=name, wall_s=best[name], of_pillow=best[name] / best[PILLOW], most_of_pillow=most)
        for name, (_, most) in jobs.items()
    )


def main() -> None:
    """Print the table."""
    print(f"{ROWS * COLUMNS / 1e6:g} megapixels, best of {ROUNDS}")
    for each in measure_halftones():
        most = "" if each.most_of_pillow is None else f"  (at most {each.most_of_pillow:.2f})"
        print(f"  {each.name:34} {1000.0 * each.wall_s:7.1f} ms  {each.of_pillow:5.2f} × Pillow{most}")


if __name__ == "__main__":
    main()
