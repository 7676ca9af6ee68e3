"""The board alone as a picture, on white, for the run sheet and for lists."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image

from evenburn.core.proof.board import Board

LONGEST_px = 700


def write_board(target: Path, board: Board) -> None:
    """Write the predicted look of a board as PNG, what is not board white, its longest side at most 700 pixels."""
    cover = board.coverage[..., None]
    blended = board.colours.astype(np.float32) * cover + np.float32(255.0) * (np.float32(1.0) - cover)
    picture = Image.fromarray(np.round(blended).astype(np.uint8))
    picture.thumbnail((LONGEST_px, LONGEST_px), Image.Resampling.BOX)
    picture.save(target, format="PNG", compress_level=1)
