"""Small pictures of a wood: its shades side by side, and one even area as uneven as the wood really is."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from evenburn.core.nouns.wood import Wood
from evenburn.core.proof.grain import grain_L, grain_of
from evenburn.core.proof.look import SCORCH_AB, wood_colours
from evenburn.core.tone.colour import srgb_from_lab

PIXEL_mm = 0.1
LONGEST_px = 4000
QUALITY = 92
SEED = 4  # the same board each time a page is shown


def tone_colours(wood: Wood, tones_L: tuple[float, ...]) -> tuple[str, ...]:
    """Return tones of a wood in its own colour, as #rrggbb; the path of `wood_colours`, for a few tones at once."""
    tones = np.clip(np.array(tones_L, np.float64), 0.0, 100.0)
    span = wood.curve.full_L - wood.curve.bare_L
    share = np.clip((tones - wood.curve.bare_L) / span, 0.0, 1.0)[:, None]
    ab = np.asarray(wood.bare_ab) * (1.0 - share) + np.asarray(wood.full_ab) * share
    if span < 0.0:
        ab = ab + 4.0 * share * (1.0 - share) * np.asarray(SCORCH_AB)
    colours = np.round(255.0 * srgb_from_lab(np.column_stack((tones, ab)))).astype(int)
    return tuple("#" + "".join(f"{channel:02x}" for channel in colour) for colour in colours.tolist())


def shades_jpeg(wood: Wood, tones_L: tuple[float, ...], *, size_px: tuple[int, int]) -> bytes:
    """Return a strip with a field of each tone, all of one board, grain along it, blotches as strong as the wood's own."""
    wide, high = size_px
    edges = np.linspace(0, min(wide, LONGEST_px), len(tones_L) + 1).round().astype(int)
    tones = np.empty((high, int(edges[-1])), np.float32)
    for tone, left, right in zip(tones_L, edges[:-1], edges[1:], strict=True):
        tones[:, left:right] = tone
    return _jpeg(wood, tones)


def evenness_jpeg(wood: Wood, tone_L: float, *, size_px: tuple[int, int], edge_px: int) -> bytes:
    """Return a large solid mark on the bare wood, as blotchy as it will come out."""
    wide, high = size_px
    tones = np.full((high, wide), wood.curve.bare_L, np.float32)
    tones[:, edge_px : wide - edge_px] = tone_L
    return _jpeg(wood, tones)


def _jpeg(wood: Wood, tones: NDArray[np.float32]) -> bytes:
    rows, columns = tones.shape
    size = (columns * PIXEL_mm, rows * PIXEL_mm)
    board = grain_of(wood, size_mm=size, generator=np.random.default_rng(SEED))
    grain = grain_L(board, left_mm=0.0, top_mm=0.0, pixel_mm=PIXEL_mm, rows=rows, columns=columns)
    colours = wood_colours(wood, tones, grain=grain)
    stage = io.BytesIO()
    Image.fromarray(colours).save(stage, format="JPEG", quality=QUALITY)
    return stage.getvalue()
