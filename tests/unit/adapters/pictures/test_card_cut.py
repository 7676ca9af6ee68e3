"""Parts of a card's picture: the caption is cut off, the window is found."""

from __future__ import annotations

import io
from importlib import resources

import numpy as np
import pytest
from PIL import Image

from evenburn.adapters.formats.card_json import read_card
from evenburn.adapters.pictures.card_cut import PITCH_px, cut_card_picture
from evenburn.adapters.pictures.card_read import PAD_SHARE, CAPTION_PAD_px
from evenburn.core.errors import UnreadableFile
from evenburn.core.nouns.card import Card

SCALE_px_per_mm = 8.0
PAPER, WOOD = (232, 232, 230), (190, 150, 100)


@pytest.fixture(scope="module")
def card() -> Card:
    with resources.as_file(resources.files("evenburn") / "assets" / "demo" / "cards" / "hard-maple") as home:
        return read_card(home / "card.json", name="card.json")


def picture(card: Card, *, lines: int) -> bytes:
    """Return a mat seen straight from above, its window full of wood, with so many lines of caption below."""
    corners = np.array([c for m in card.mat.markers for c in m.corners_mm])
    low, high = corners.min(axis=0), corners.max(axis=0)
    pad = PAD_SHARE * float((high - low).max())
    wide, tall = (round(float(v) * SCALE_px_per_mm) for v in high - low + 2.0 * pad)
    pixels = np.full((tall + lines * PITCH_px + 2 * CAPTION_PAD_px, wide, 3), 255, np.uint8)
    pixels[:tall] = PAPER
    x0, y0, x1, y1 = card.mat.window_mm
    left, right = (round((x - low[0] + pad) * SCALE_px_per_mm) for x in (x0, x1))
    top, bottom = (round((high[1] + pad - y) * SCALE_px_per_mm) for y in (y1, y0))
    pixels[top:bottom, left:right] = WOOD
    stage = io.BytesIO()
    Image.fromarray(pixels).save(stage, format="PNG")
    return stage.getvalue()


@pytest.mark.parametrize("lines", [1, 2, 5])
def test_the_mat_comes_without_its_caption(card: Card, lines: int) -> None:
    cut = np.asarray(
        Image.open(io.BytesIO(cut_card_picture(picture(card, lines=lines), card, part="mat", widest_px=9000)))
    )
    assert np.abs(cut[-4:, :8].astype(int) - PAPER).max() < 8  # JPEG
    assert (
        cut.shape[0]
        == Image.open(io.BytesIO(picture(card, lines=lines))).height - lines * PITCH_px - 2 * CAPTION_PAD_px
    )


def test_the_window_fills_its_picture_and_is_no_wider_than_wished(card: Card) -> None:
    cut = np.asarray(
        Image.open(io.BytesIO(cut_card_picture(picture(card, lines=2), card, part="window", widest_px=600)))
    )
    assert cut.shape[1] == 600
    wood = np.abs(cut.astype(int) - WOOD).max(axis=2) < 30
    assert 0.7 < wood.mean() < 0.9  # 102 × 72 mm of 114 × 84 mm
    assert not wood[:, 0].any()
    assert not wood[-1].any()


def test_what_is_no_picture_is_told(card: Card) -> None:
    with pytest.raises(UnreadableFile):
        cut_card_picture(b"no picture", card, part="mat", widest_px=600)
