"""The board alone, small, with nothing round it: for lists on a page, light or dark."""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

from evenburn.core.proof.board import Board


def small_board_png(board: Board, *, most_px: tuple[int, int]) -> bytes:
    """Return the predicted look of a board as PNG, transparent where there is no board, no larger than stated."""
    cover = np.round(255.0 * board.coverage).astype(np.uint8)
    picture = Image.fromarray(np.dstack([board.colours, cover])).convert("RGBA")
    picture.thumbnail(most_px, Image.Resampling.BOX)
    stage = io.BytesIO()
    picture.save(stage, format="PNG", optimize=True)
    return stage.getvalue()
