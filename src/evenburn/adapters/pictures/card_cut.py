"""Parts of the picture of a card as it was read: the mat without its caption, or the card's window alone, large enough to read."""

from __future__ import annotations

import io
from typing import Literal

import numpy as np
from PIL import Image

from evenburn.adapters.pictures.card_read import PAD_SHARE, CAPTION_PAD_px, CAPTION_px
from evenburn.core.errors import UnreadableFile
from evenburn.core.nouns.card import Card

Part = Literal["mat", "window"]
PITCH_px = round(1.35 * CAPTION_px)
MARGIN_mm = (
    6.0  # of the mat is shown round the window; it lies there give or take a few mm, for the camera looked askew
)
QUALITY = 88


def cut_card_picture(png: bytes, card: Card, *, part: Part, widest_px: int) -> bytes:
    """Return a part of a card's picture as JPEG.

    Parameters
    ----------
    png : as `write_card_read` writes it, the photograph above and its caption below.

    Raises
    ------
    UnreadableFile
        If it is no such picture.
    """
    try:
        with Image.open(io.BytesIO(png)) as opened:
            picture = opened.convert("RGB")
    except OSError as error:
        raise UnreadableFile("reading.png", "is no picture", hint="Read the photograph again.") from error
    picture = picture.crop((0, 0, picture.width, _photograph_high_px(picture)))
    if part == "window":
        picture = picture.crop(_window_px(picture, card))
    picture.thumbnail((widest_px, 4 * widest_px), Image.Resampling.LANCZOS)
    stage = io.BytesIO()
    picture.save(stage, format="JPEG", quality=QUALITY, optimize=True)
    return stage.getvalue()


def _photograph_high_px(picture: Image.Image) -> int:
    """Return how high the photograph is: below it stand whole lines of the caption on pure white."""
    edge = np.asarray(picture.crop((0, 0, 8, picture.height)))
    white = (edge == 255).all(axis=(1, 2))[::-1]
    run = int(np.argmin(white)) if not white.all() else 0
    lines = (run - 2 * CAPTION_PAD_px) // PITCH_px
    return picture.height - (lines * PITCH_px + 2 * CAPTION_PAD_px) if lines > 0 else picture.height


def _window_px(picture: Image.Image, card: Card) -> tuple[int, int, int, int]:
    """Return where the mat's window lies, by the markers at the picture's border."""
    corners = np.array([c for m in card.mat.markers for c in m.corners_mm])
    low, high = corners.min(axis=0), corners.max(axis=0)
    pad = PAD_SHARE * float((high - low).max())
    scale = np.array([picture.width, picture.height]) / (high - low + 2.0 * pad)
    x0, y0, x1, y1 = card.mat.window_mm
    left, right = ((x - low[0] + pad) * scale[0] for x in (x0 - MARGIN_mm, x1 + MARGIN_mm))
    top, bottom = ((high[1] + pad - y) * scale[1] for y in (y1 + MARGIN_mm, y0 - MARGIN_mm))
    box = (
        max(0, round(left)),
        max(0, round(top)),
        min(picture.width, round(right)),
        min(picture.height, round(bottom)),
    )
    return box if box[2] > box[0] and box[3] > box[1] else (0, 0, picture.width, picture.height)
