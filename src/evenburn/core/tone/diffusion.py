"""Error diffusion: each dot's error is handed on to its neighbours, so that the mean is kept everywhere.

Kernels are the published ones; lines run to and fro (serpentine), which keeps patterns from leaning to one side. The
loops are compiled when first used.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float32]
Dots = NDArray[np.bool_]
Kernel = Literal["floyd-steinberg", "jarvis", "stucki"]

# (rows below, columns ahead, weight) in the direction of travel; weights over their sum
KERNELS: dict[Kernel, tuple[tuple[int, int, int], ...]] = {
    "floyd-steinberg": ((0, 1, 7), (1, -1, 3), (1, 0, 5), (1, 1, 1)),
    "jarvis": (
        (0, 1, 7), (0, 2, 5),
        (1, -2, 3), (1, -1, 5), (1, 0, 7), (1, 1, 5), (1, 2, 3),
        (2, -2, 1), (2, -1, 3), (2, 0, 5), (2, 1, 3), (2, 2, 1),
    ),
    "stucki": (
        (0, 1, 8), (0, 2, 4),
        (1, -2, 2), (1, -1, 4), (1, 0, 8), (1, 1, 4), (1, 2, 2),
        (2, -2, 1), (2, -1, 2), (2, 0, 4), (2, 1, 2), (2, 2, 1),
    ),
}  # fmt: skip


def diffuse(coverage: Picture, *, kernel: Kernel, serpentine: bool = True) -> Dots:
    """Return dots of a coverage 0–1, (rows, columns), True where one is set.

    Two lines of errors are all it keeps beside the picture and the dots.

    Source
    ------
    [floyd1976], [jarvis1976], [stucki1981].
    """
    from evenburn.core.tone.diffusion_loops import spread  # late: numba takes half a second

    picture = np.ascontiguousarray(coverage, dtype=np.float32)
    weights = np.zeros((3, 5), np.float32)
    for down, ahead, weight in KERNELS[kernel]:
        weights[down, ahead + 2] = weight
    out = np.zeros(picture.shape, np.uint8)
    spread()(picture, out, weights / weights.sum(), serpentine)
    return out.view(np.bool_)


def diffuse_like_pillow(grey: NDArray[np.uint8]) -> Dots:
    """Return where an 8-bit grey picture becomes white by Floyd and Steinberg in whole numbers, every line left to right.

    Source
    ------
    [floyd1976], with the rounding of the Pillow library, so that the two can be held against each other bit by bit.
    """
    from evenburn.core.tone.diffusion_loops import whole  # late, as above

    out = np.zeros(grey.shape, np.uint8)
    whole()(np.ascontiguousarray(grey), out)
    return out.view(np.bool_)
